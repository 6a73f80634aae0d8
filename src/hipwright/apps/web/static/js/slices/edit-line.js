// @ts-check
// Sends edits one after another and keeps them: a moment after the last one, again after a
// failure, never over somebody else's version without asking.
//
// Events: "state" (detail: EditState), "words" (detail: string), "stale" (detail: { mine, theirs }),
// "settled".

import { Refused, ask, send } from "../lib/sending.js";

/** @typedef {import("./facts.js").EditState} EditState */

const PAUSE_MS = 1200;
const LONGEST_RETRY_MS = 15_000;

export class EditLine extends EventTarget {
  /**
   * @param {string} image
   * @param {string} desk
   */
  constructor(image, desk) {
    super();
    this.image = image;
    this.desk = desk;
    this.block = 0;
    /** @type {EditState | null} */
    this.now = null;
    /** @type {Promise<unknown>} */
    this.line = Promise.resolve();
    this.waiting = 0;
    this.timer = 0;
    this.retryMs = 1000;
    this.isStale = false;
    globalThis.addEventListener("beforeunload", (event) => {
      if (this.now?.dirty) event.preventDefault();
    });
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "hidden" && this.now?.dirty) this.keep();
    });
  }

  get address() {
    return `/slices/${this.image}/edits/${this.block}`;
  }

  async look() {
    this.take(await ask(`${this.address}?desk=${this.desk}`));
  }

  /**
   * Make an edit; edits are made in the order they were asked for.
   * @param {Record<string, unknown>} edit
   */
  make(edit) {
    this.waiting += 1;
    this.line = this.line.then(async () => {
      try {
        this.take(await send(this.address, { desk: this.desk, edit }));
        this.say("Changed");
        this.wait(PAUSE_MS);
      } catch (error) {
        this.say(error instanceof Refused ? error.message : "hipwright does not answer: that edit was not made");
        this.dispatchEvent(new CustomEvent("refused"));
      } finally {
        this.waiting -= 1;
      }
    });
    return this.line;
  }

  /** @param {number} ms */
  wait(ms) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.keep(), ms);
  }

  /** Keep what is shown now. Waits for edits under way. */
  keep() {
    clearTimeout(this.timer);
    this.line = this.line.then(() => this.save());
    return this.line;
  }

  async save() {
    if (!this.now?.dirty || this.isStale) return;
    this.say("Saving the edits");
    try {
      this.take(await send(`${this.address}/keep`, { desk: this.desk, expected_version: this.now.version }));
      this.retryMs = 1000;
      this.say(`Edits saved, version ${this.now.version}`);
      document.body.dispatchEvent(new CustomEvent("edits-saved"));
    } catch (error) {
      this.failed(error);
    }
  }

  /** @param {unknown} error */
  failed(error) {
    if (error instanceof Refused && error.status === 409) {
      this.isStale = true;
      this.say("Not saved: somebody else saved edits first");
      this.dispatchEvent(new CustomEvent("stale", { detail: error.body }));
    } else if (error instanceof Refused && error.status < 500) {
      this.say(`Edits not saved: ${error.message}`);
    } else {
      this.say("Edits not saved: no answer. They are kept here and sent again");
      this.retryMs = Math.min(2 * this.retryMs, LONGEST_RETRY_MS);
      this.wait(this.retryMs);
    }
  }

  /** @param {"mine" | "theirs" | "both"} choice */
  settle(choice) {
    this.line = this.line.then(async () => {
      try {
        this.take(await send(`${this.address}/settle`, { desk: this.desk, choice }));
        this.isStale = false;
        this.dispatchEvent(new CustomEvent("settled"));
        this.say(`Edits saved, version ${this.now?.version}`);
      } catch (error) {
        this.failed(error);
      }
    });
    return this.line;
  }

  /** @param {EditState} state */
  take(state) {
    this.now = state;
    this.dispatchEvent(new CustomEvent("state", { detail: state }));
  }

  /** @param {string} words */
  say(words) {
    this.dispatchEvent(new CustomEvent("words", { detail: words }));
  }
}

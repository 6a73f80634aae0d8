// @ts-check
// Keeps the reading: a moment after the last change, again after a failure, never over
// somebody else's version without asking.
//
// Events: "state" (detail: words), "saved" (detail: ReadingFacts), "stale" (detail: KeptReading | null).

import { Refused, send } from "./sending.js";

/** @typedef {import("../lib/placed.js").Placed} Placed */

const PAUSE_MS = 900;
const LONGEST_RETRY_MS = 15_000;

export class Autosave extends EventTarget {
  /**
   * @param {object} what
   * @param {string} what.image
   * @param {string | null} what.case
   * @param {string | null} what.observer
   * @param {number} what.reading
   * @param {number} what.version
   * @param {Placed} what.placed
   */
  constructor({ image, case: code, observer, reading, version, placed }) {
    super();
    this.image = image;
    this.code = code;
    this.observer = observer;
    this.reading = reading;
    this.version = version;
    this.placed = placed;
    /** @type {Placed} */
    this.kept = placed;
    this.retryMs = 1000;
    this.timer = 0;
    this.isSaving = false;
    this.isStale = false;
    globalThis.addEventListener("beforeunload", (event) => {
      if (this.isDirty && this.canSave) event.preventDefault();
    });
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "hidden") this.save();
    });
    this.say(version > 0 ? `Saved, version ${version}` : "");
  }

  get isDirty() {
    return this.placed !== this.kept;
  }

  get canSave() {
    return this.observer !== null && this.code !== null;
  }

  /** @param {Placed} placed */
  follow(placed) {
    this.placed = placed;
    if (!this.isDirty) return;
    if (this.code === null) this.say("Not kept: this film belongs to no case yet");
    else if (this.observer === null) this.say("Not kept yet: say who reads");
    else if (!this.isStale) {
      this.say("Changed");
      this.wait(PAUSE_MS);
    }
  }

  /** @param {number} ms */
  wait(ms) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.save(), ms);
  }

  async save() {
    clearTimeout(this.timer);
    if (!this.isDirty || !this.canSave || this.isSaving || this.isStale) return;
    const placed = this.placed;
    this.isSaving = true;
    this.say("Saving");
    try {
      const facts = await send(`/films/${this.image}/reading`, {
        case: this.code,
        observer: this.observer,
        reading: this.reading,
        expected_version: this.version,
        items: [...placed.values()],
      });
      this.version = facts.version;
      this.kept = placed;
      this.retryMs = 1000;
      this.say(`Saved, version ${facts.version}`);
      this.dispatchEvent(new CustomEvent("saved", { detail: facts }));
    } catch (error) {
      this.failed(error);
    } finally {
      this.isSaving = false;
    }
    if (this.isDirty && !this.isStale && this.retryMs === 1000) this.wait(PAUSE_MS);
  }

  /** @param {unknown} error */
  failed(error) {
    if (error instanceof Refused && error.status === 409) {
      this.isStale = true;
      this.say("Not saved: somebody else saved first");
      this.dispatchEvent(new CustomEvent("stale", { detail: error.body?.kept ?? null }));
      return;
    }
    if (error instanceof Refused && error.status < 500) {
      this.say(`Not saved: ${error.message}`);
      return;
    }
    this.say("Not saved: no answer. Your changes are kept here and sent again");
    this.retryMs = Math.min(2 * this.retryMs, LONGEST_RETRY_MS);
    this.wait(this.retryMs);
  }

  /** Take the kept version as seen; what is on the screen is saved over it. @param {number} version */
  overwrite(version) {
    this.version = version;
    this.isStale = false;
    this.save();
  }

  /** The screen shows the kept version now. @param {number} version @param {Placed} placed */
  accept(version, placed) {
    this.version = version;
    this.placed = placed;
    this.kept = placed;
    this.isStale = false;
    this.say(`Saved, version ${version}`);
  }

  /** @param {string} words */
  say(words) {
    this.dispatchEvent(new CustomEvent("state", { detail: words }));
  }
}

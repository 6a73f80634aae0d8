// @ts-check
// Landmarks on the bones: shown, moved along the bone (the server finds the place under the
// ray), and saved as versions of a reading.

import { made, part } from "../lib/elements.js";
import { NewestOnly } from "../lib/newest-only.js";
import { Refused, send } from "../lib/sending.js";
import { addressOf, followReading } from "./facts.js";

/** @typedef {import("./facts.js").Landmark} Landmark */
/** @typedef {import("../components/bone-view/handle-drag.js").Dragged} Dragged */
/** @typedef {import("../lib/orbit.js").Vector} Vector */

export class Landmarks extends EventTarget {
  /**
   * @param {HTMLElement} screen
   * @param {import("../components/bone-view/bone-view.js").BoneView} view
   * @param {import("./facts.js").ScreenFacts} facts
   * @param {(words: string) => void} say
   */
  constructor(screen, view, facts, say) {
    super();
    this.view = view;
    this.facts = facts;
    this.say = say;
    this.shown = part("[data-landmarks-shown]", HTMLInputElement, screen);
    this.both = part("[data-landmarks-both]", HTMLInputElement, screen);
    this.list = part("[data-landmark-list]", HTMLElement, screen);
    this.count = part("[data-landmark-count]", HTMLElement, screen);
    this.trouble = part("[data-landmark-trouble]", HTMLElement, screen);
    this.reader = part("[data-reader-form]", HTMLFormElement, screen);
    this.stale = part("#bones-stale", HTMLDialogElement);
    /** @type {Map<string, Landmark>} */
    this.all = new Map();
    /** @type {string} */
    this.code = "";
    /** @type {{ landmark: Landmark, at: Vector | null } | null} */
    this.waiting = null;
    /** @type {NewestOnly<Dragged>} */
    this.queue = new NewestOnly({
      merge: (earlier, later) => (earlier.key === later.key && earlier.phase === "end" ? { ...later, phase: "end" } : later),
      send: (seq, dragged) => void this.follow(seq, dragged),
    });
    this.shown.addEventListener("change", () => this.paint());
    this.both.addEventListener("change", () => this.paint());
    view.addEventListener("landmark-drag", (event) => this.queue.offer(/** @type {CustomEvent<Dragged>} */ (event).detail));
    this.list.addEventListener("click", (event) => this.click(event));
    this.reader.addEventListener("submit", (event) => this.takeReader(event));
    this.stale.addEventListener("click", (event) => this.settle(event));
  }

  /** @param {readonly Landmark[]} landmarks */
  take(landmarks) {
    this.all = new Map(landmarks.map((one) => [one.key, one]));
    this.paint();
  }

  paint() {
    const all = [...this.all.values()];
    const moved = all.filter((one) => one.moved).length;
    this.count.textContent = all.length === 0 ? "" : moved === 0 ? String(all.length) : `${all.length}, ${moved} moved`;
    const near = all.filter((one) => this.both.checked || one.side === null || one.side === this.facts.side);
    this.view.setLandmarks(this.shown.checked ? near : []);
    this.list.replaceChildren(...near.map((one) => made("li", {},
      made("button", { type: "button", class: "quiet", "data-find": one.key, title: one.definition }, one.name),
      one.moved ? made("span", { class: "tag accent" }, "moved") : null,
      one.moved && one.movable ? made("button", { type: "button", class: "quiet small", "data-give-back": one.key, "aria-label": `${one.name}: as the program found it` }, "as found") : null)));
  }

  /** @param {MouseEvent} event */
  click(event) {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    const found = this.all.get(button?.dataset["find"] ?? "");
    const back = this.all.get(button?.dataset["giveBack"] ?? "");
    if (found) {
      this.shown.checked = true;
      this.paint();
      this.view.lookAt([found.at], null);
    }
    if (back) void this.save(back, null);
  }

  /** @param {number} seq @param {Dragged} dragged */
  async follow(seq, dragged) {
    const landmark = this.all.get(dragged.key);
    try {
      if (!landmark) return;
      const { at } = await send(addressOf(this.facts, "place"), { landmark: landmark.id, side: landmark.side, ...dragged.ray });
      if (at) {
        this.view.moveLandmark(dragged.key, at);
        this.all.set(dragged.key, { ...landmark, at });
      }
      if (dragged.phase === "end") await this.save(landmark, this.all.get(dragged.key)?.at ?? null);
    } catch (error) {
      this.tell(error instanceof Error ? error.message : "hipwright does not answer.");
    } finally {
      this.queue.answered(seq);
    }
  }

  /** @param {Landmark} landmark @param {Vector | null} at */
  async save(landmark, at) {
    if (!this.facts.observer && this.code === "") {
      this.waiting = { landmark, at };
      this.tell("Who moves it? Give a short code, and it is saved.");
      this.openFold();
      part("input", HTMLInputElement, this.reader).focus();
      return;
    }
    this.tell("");
    try {
      const saved = await send(addressOf(this.facts, "landmark"), {
        landmark: landmark.id, side: landmark.side, at, expected_version: this.facts.version, reader: this.code,
      });
      followReading(this.facts, saved.observer, saved.version);
      this.say(`${landmark.name} ${at ? "moved" : "as the program found it"}; measuring again`);
      this.dispatchEvent(new CustomEvent("saved"));
    } catch (error) {
      if (error instanceof Refused && error.status === 409) this.askWhich(landmark, at, error);
      else this.tell(error instanceof Error ? error.message : "It could not be saved.");
    }
  }

  /** @param {Landmark} landmark @param {Vector | null} at @param {Refused} refused */
  askWhich(landmark, at, refused) {
    this.waiting = { landmark, at };
    const kept = refused.body?.kept;
    part("[data-stale-words]", HTMLElement, this.stale).textContent =
      `Version ${kept?.version ?? "?"} was saved meanwhile; yours began from version ${this.facts.version}. Nothing is lost: every version stays.`;
    this.stale.dataset["version"] = String(kept?.version ?? this.facts.version);
    this.stale.showModal();
  }

  /** @param {MouseEvent} event */
  settle(event) {
    if (!(event.target instanceof Element)) return;
    const mine = event.target.closest("[data-keep-mine]") !== null;
    if (!mine && !event.target.closest("[data-take-kept]")) return;
    const { waiting } = this;
    this.waiting = null;
    this.stale.close();
    followReading(this.facts, this.facts.observer ?? "", Number(this.stale.dataset["version"]));
    if (mine && waiting) void this.save(waiting.landmark, waiting.at);
    else this.dispatchEvent(new CustomEvent("saved"));
  }

  /** @param {SubmitEvent} event */
  takeReader(event) {
    event.preventDefault();
    this.code = part("input", HTMLInputElement, this.reader).value.trim();
    this.reader.hidden = true;
    const { waiting } = this;
    this.waiting = null;
    this.tell("");
    if (waiting) void this.save(waiting.landmark, waiting.at);
  }

  openFold() {
    const fold = this.list.closest("details");
    if (fold) fold.open = true;
  }

  /** @param {string} words */
  tell(words) {
    this.trouble.hidden = words === "";
    this.trouble.replaceChildren(made("span", {}, words));
    if (words) this.openFold();
  }
}

// @ts-check
// The card that asks for the next landmark, and the list of all of them.

import { isFinished } from "../lib/guide-order.js";
import { fromKey } from "../lib/placed.js";
import { made, part, sideWord } from "./facts.js";
import { drawSchematic } from "./schematic.js";

/** @typedef {import("./reading-model.js").ReadingModel} ReadingModel */

/** @type {Record<string, string>} */
const STATES = { placed: "placed", begun: "begun", skipped: "skipped", open: "to place" };

export class GuidePanel {
  /**
   * @param {HTMLElement} panel
   * @param {ReadingModel} model
   * @param {(words: string) => void} announce
   */
  constructor(panel, model, announce) {
    this.panel = panel;
    this.model = model;
    this.announce = announce;
    this.card = part("[data-asked]", HTMLElement, panel);
    this.list = part("[data-landmarks]", HTMLElement, panel);
    this.count = part("[data-count]", HTMLElement, panel);
    this.spoken = "";
    panel.addEventListener("click", (event) => this.click(event));
    part("[data-pass]", HTMLSelectElement, panel).addEventListener("change", (event) => {
      const { value } = /** @type {HTMLSelectElement} */ (event.target);
      model.passBy(/** @type {import("../lib/guide-order.js").Pass} */ (value));
    });
    this.painted = "";
    for (const name of ["changed", "target", "passing"]) {
      model.addEventListener(name, () => this.paint());
    }
    this.paint();
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    const act = event.target.closest("[data-act]")?.getAttribute("data-act");
    const key = event.target.closest("[data-key]")?.getAttribute("data-key");
    const { model } = this;
    if (act === "next") model.advance();
    else if (act === "skip") model.skip();
    else if (act === "back") model.stepBy(-1);
    else if (act === "finish") model.finish();
    else if (act === "again" && model.target !== null) model.removeAll(model.target);
    else if (act === "stop") model.aim(null);
    else if (key) model.aim(key);
  }

  paint() {
    const { model } = this;
    // A drag changes places many times a second, but neither the question nor any state.
    const clicks = model.target === null ? 0 : (model.placed.get(model.target)?.xy.length ?? 0);
    const states = model.steps.map((step) => step.key + model.stateOf(step.key)).join();
    const now = `${model.target} ${model.isPlacing} ${clicks} ${states}`;
    if (now === this.painted) return;
    this.painted = now;
    this.count.textContent = `${model.doneCount} of ${model.steps.length} placed`;
    this.paintCard();
    this.paintList();
  }

  paintCard() {
    const key = this.model.target;
    const landmark = key === null ? null : this.model.landmarkOf(key);
    const asked = part("[data-asked-for]", HTMLElement, this.card);
    const idle = part("[data-idle]", HTMLElement, this.card);
    asked.hidden = landmark === null;
    idle.hidden = landmark !== null;
    if (key === null || landmark === null) {
      const left = this.model.steps.length - this.model.doneCount;
      part("[data-idle-words]", HTMLElement, idle).textContent =
        left === 0 ? "Every landmark of this pass is placed." : this.model.doneCount === 0
          ? "Nothing is placed on this film in this reading yet."
          : left === 1 ? "1 landmark is still open." : `${left} landmarks are still open.`;
      part("[data-act=next]", HTMLButtonElement, idle).hidden = left === 0;
      return;
    }
    const side = fromKey(key).side;
    part("[data-name]", HTMLElement, asked).textContent = landmark.name;
    part("[data-side]", HTMLElement, asked).textContent = sideWord(side);
    part("[data-definition]", HTMLElement, asked).textContent = landmark.definition;
    part("[data-how]", HTMLElement, asked).textContent = this.how(key);
    const finishes = landmark.kind !== "point" && this.model.isPlacing;
    const finish = part("[data-act=finish]", HTMLButtonElement, asked);
    finish.hidden = !finishes;
    finish.disabled = !this.model.isDone(key);
    part("[data-act=again]", HTMLButtonElement, asked).hidden = !this.model.placed.has(key);
    part("[data-act=skip]", HTMLButtonElement, asked).hidden = !this.model.isPlacing;
    drawSchematic(part("[data-schematic]", HTMLElement, asked), this.model.facts, landmark.id, side);
    this.speak(`${landmark.name}, ${sideWord(side)}. ${landmark.definition}`);
  }

  /** @param {string} key */
  how(key) {
    const landmark = this.model.landmarkOf(key);
    const clicks = this.model.placed.get(key)?.xy.length ?? 0;
    if (!landmark) return "";
    if (!this.model.isPlacing) return "Placed. Drag it, or move it with the arrow keys.";
    if (landmark.kind === "point") return "Click the place, or move the crosshair with the arrow keys and press Enter.";
    const more = isFinished(landmark, clicks) ? "add more or finish" : `at least ${landmark.kind === "circle" ? 3 : 2}`;
    return `${clicks} ${clicks === 1 ? "click" : "clicks"}: ${more}.`;
  }

  /** @param {string} words */
  speak(words) {
    if (words === this.spoken || !this.model.isPlacing) return;
    this.spoken = words;
    this.announce(words);
  }

  paintList() {
    let title = "";
    const rows = this.model.steps.flatMap(({ key, landmark, side }) => {
      const heading = this.model.landmarks.get(landmark.id)?.title ?? "";
      const isNew = heading !== title;
      title = heading;
      const state = this.model.stateOf(key);
      const isTarget = key === this.model.target;
      const row = made("li", {},
        made("button", { type: "button", "data-key": key, class: `step ${state}`, "aria-current": isTarget ? "true" : null },
          made("span", { class: "what" }, landmark.name),
          made("span", { class: "side" }, sideWord(side)),
          made("span", { class: "state" }, STATES[state] ?? state)));
      return isNew && heading ? [made("li", { class: "group-title" }, heading), row] : [row];
    });
    const focused = document.activeElement?.getAttribute("data-key");
    const within = this.list.contains(document.activeElement);
    this.list.replaceChildren(...rows);
    if (within && focused) {
      /** @type {HTMLElement | null} */ (this.list.querySelector(`[data-key="${CSS.escape(focused)}"]`))?.focus();
    }
  }
}

// @ts-check
// A value that is pressed is drawn on the bone, and one turns to where it is seen well.

import { ClockFace } from "../components/clock-face/clock-face.js";
import { ask } from "../lib/sending.js";
import { addressOf } from "./facts.js";

/** @typedef {import("./facts.js").Chosen} Chosen */
/** @typedef {import("./facts.js").Construction} Construction */

/** A level construction is shown as a slice is: what lies lower is left out. */
const LEVEL_FRONT_MM = 12;

export class Choosing {
  /**
   * @param {HTMLElement} screen
   * @param {import("../components/bone-view/bone-view.js").BoneView} view
   * @param {import("./facts.js").ScreenFacts} facts
   * @param {(words: string) => void} say
   */
  constructor(screen, view, facts, say) {
    this.screen = screen;
    this.view = view;
    this.facts = facts;
    this.say = say;
    /** @type {Chosen | null} */
    this.chosen = null;
    screen.addEventListener("click", (event) => this.click(event));
    screen.addEventListener("clock-choose", (event) => {
      this.choose(/** @type {CustomEvent<Chosen>} */ (event).detail);
    });
    document.body.addEventListener("htmx:afterSettle", () => this.mark());
  }

  /** @param {MouseEvent} event */
  click(event) {
    const button = event.target instanceof Element ? event.target.closest("[data-choose]") : null;
    if (!(button instanceof HTMLElement)) return;
    const { choose: definition = "", side, hour } = button.dataset;
    if (side !== "left" && side !== "right") return;
    this.choose({ definition, side, hour: hour === undefined ? null : Number(hour) });
  }

  /** @param {Chosen} wanted the same one again takes the drawing away */
  async choose(wanted) {
    const { chosen } = this;
    const same = chosen && chosen.definition === wanted.definition && chosen.side === wanted.side && chosen.hour === wanted.hour;
    this.chosen = same ? null : wanted;
    this.mark();
    if (this.chosen === null) {
      this.view.draw(null);
      return;
    }
    await this.show(true);
  }

  /** Draw what is chosen, anew after a landmark was moved. @param {boolean} turning */
  async show(turning) {
    const { chosen } = this;
    if (!chosen) return;
    const { definition, side, hour } = chosen;
    try {
      /** @type {Construction} */
      const found = await ask(addressOf(this.facts, "construction", { definition, side, ...(hour === null ? {} : { hour: String(hour) }) }));
      if (this.chosen !== chosen) return;
      this.view.draw(found);
      if (turning) this.view.lookAt([...found.points.map((p) => p.at), ...found.lines.filter((l) => !l.dashed).flatMap((l) => l.points)], found.back, found.level ? LEVEL_FRONT_MM : undefined);
      this.say(`${found.label} is drawn on the bone`);
    } catch (error) {
      if (this.chosen !== chosen) return;
      this.view.draw(null);
      this.say(error instanceof Error ? error.message : "This construction cannot be drawn.");
    }
  }

  mark() {
    const { chosen } = this;
    for (const button of this.screen.querySelectorAll("[data-choose]")) {
      if (!(button instanceof HTMLElement)) continue;
      const { choose, side, hour } = button.dataset;
      const same = chosen?.definition === choose && chosen?.side === side && (chosen?.hour ?? null) === (hour === undefined ? null : Number(hour));
      button.setAttribute("aria-pressed", String(same));
    }
    for (const row of this.screen.querySelectorAll("[data-row]")) {
      row.classList.toggle("chosen", row.getAttribute("data-row") === chosen?.definition);
    }
    for (const face of this.screen.querySelectorAll("clock-face")) {
      if (face instanceof ClockFace) face.mark(face.dataset["definition"] === chosen?.definition ? chosen?.side ?? null : null, chosen?.hour ?? null);
    }
  }
}

// @ts-check
// The panel of the planes around the neck: which axis, placing one with two clicks, opening.

import { Refused, send } from "../lib/sending.js";
import { made, part } from "../lib/elements.js";

/** @typedef {import("./facts.js").Axis} Axis */
/** @typedef {import("../lib/slice-geometry.js").Point} Point */

export class RadialPanel {
  /**
   * @param {HTMLElement} panel
   * @param {object} with_
   * @param {import("./facts.js").ScreenFacts} with_.facts
   * @param {import("./tools.js").Tools} with_.tools
   * @param {import("./radial-view.js").RadialView} with_.radial
   * @param {(words: string) => void} with_.say
   */
  constructor(panel, { facts, tools, radial, say }) {
    this.panel = panel;
    this.facts = facts;
    this.tools = tools;
    this.radial = radial;
    this.say = say;
    /** @type {{ head: Point | null, neck: Point | null }} */
    this.clicked = { head: null, neck: null };
    this.choice = part("[data-axis-choice]", HTMLSelectElement, panel);
    this.how = part("[data-axis-how]", HTMLElement, panel);
    this.show = part("[data-axis=show]", HTMLButtonElement, panel);
    this.keep = part("[data-axis=keep]", HTMLButtonElement, panel);
    this.unsure = part("[data-axis-unsure]", HTMLInputElement, panel);
    panel.addEventListener("click", (event) => this.click(event));
    this.choice.addEventListener("input", () => {
      if (radial.isOpen) this.open();
    });
    tools.addEventListener("placed", (event) => {
      const { which, place } = /** @type {CustomEvent} */ (event).detail;
      this.place(which, place);
    });
    tools.addEventListener("changed", () => this.follow());
    radial.addEventListener("opened", () => this.follow());
    radial.addEventListener("closed", () => this.follow());
    this.offer();
  }

  offer() {
    const { axes } = this.facts;
    this.choice.replaceChildren(...axes.map(({ side, from }, k) =>
      made("option", { value: String(k) }, `${side ? `${side[0]?.toUpperCase()}${side.slice(1)} hip, ` : ""}${from}`)));
    this.follow();
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    switch (event.target.closest("[data-axis]")?.getAttribute("data-axis")) {
      case "show": if (this.radial.isOpen) this.radial.close(); else this.open(); break;
      case "place": this.tools.choose("head"); break;
      case "keep": this.save(); break;
      default:
    }
  }

  open() {
    const axis = this.facts.axes[Number(this.choice.value)];
    if (axis) this.radial.open(axis, this.tools.views.store.block);
  }

  /** @param {"head" | "neck"} which @param {Point} place */
  place(which, place) {
    this.clicked[which] = place;
    if (which === "head") {
      this.clicked.neck = null;
      this.tools.choose("neck");
      return;
    }
    const { head, neck } = this.clicked;
    this.tools.choose("cursor");
    if (!head || !neck) return;
    const fresh = { side: this.facts.side, head, neck, from: "just placed" };
    this.facts.axes = [fresh, ...this.facts.axes.filter((axis) => axis.from !== "just placed")];
    this.offer();
    this.choice.value = "0";
    this.open();
  }

  follow() {
    const { tool } = this.tools;
    const { axes } = this.facts;
    const words = {
      head: "Click the center of the femoral head: scroll to where the head is largest, and look at two views.",
      neck: "Now click the middle of the neck where it is narrowest.",
    };
    this.how.textContent = /** @type {Record<string, string>} */ (words)[tool] ??
      (axes.length > 0 ? "12 is toward the patient's head end, seen along the neck; 3 is in front, for either hip." : "Place the axis with two clicks: the center of the head, then the middle of the neck.");
    this.show.disabled = axes.length === 0;
    this.show.textContent = this.radial.isOpen ? "Back to the three views" : "Show planes around the neck";
    this.show.classList.toggle("primary", !this.radial.isOpen && axes.length > 0);
    const chosen = axes[Number(this.choice.value)];
    this.panel.querySelector("[data-axis-field]")?.toggleAttribute("hidden", axes.length === 0);
    this.panel.querySelector("[data-axis-keeping]")?.toggleAttribute("hidden", chosen?.from !== "just placed" || this.facts.case === null);
  }

  async save() {
    const axis = this.facts.axes[Number(this.choice.value)];
    if (!axis || !this.facts.case) return;
    try {
      await send(`/slices/${this.facts.image}/axis`, {
        case: this.facts.case,
        head: axis.head,
        neck: axis.neck,
        sure: this.unsure.checked ? "unsure" : "clear",
      });
      axis.from = "placed and kept";
      this.offer();
      this.say("The axis is kept.");
    } catch (error) {
      this.say(error instanceof Refused ? error.message : "hipwright does not answer. The axis was not kept.");
    }
  }
}

// @ts-check
// The panel of the edits: tools, the bone that is painted, the brush, cuts and seeds, undo.

import { made, part } from "../lib/elements.js";

/** @typedef {import("./facts.js").EditState} EditState */
/** @typedef {import("./facts.js").Tool} Tool */

const HOW = {
  brush: "Drag over the bone. In one slice, or as a ball through several.",
  eraser: "Drag over what is no bone.",
  outline: "Draw around a region and let go: it is filled in this slice.",
  region: "Click into a closed gap: it is filled with the chosen bone.",
  cut: "Draw a line across the place where two bones hang together. The cut reaches as deep as the line is long; it parts them when the models are made again.",
  seed: "Click a place that certainly belongs to the chosen bone, or to none.",
};

export class EditPanel {
  /**
   * @param {HTMLElement} panel
   * @param {object} with_
   * @param {import("./tools.js").Tools} with_.tools
   * @param {import("./edit-line.js").EditLine} with_.edits
   * @param {import("./facts.js").LegendRow[]} with_.legend
   */
  constructor(panel, { tools, edits, legend }) {
    this.panel = panel;
    this.tools = tools;
    this.edits = edits;
    this.legend = legend;
    this.bone = part("[data-bone]", HTMLSelectElement, panel);
    this.radius = part("[data-radius]", HTMLInputElement, panel);
    this.radiusWords = part("[data-radius-words]", HTMLElement, panel);
    this.ball = part("[data-ball]", HTMLInputElement, panel);
    this.how = part("[data-how]", HTMLElement, panel);
    this.marks = part("[data-marks]", HTMLElement, panel);
    this.undo = part("[data-edit=undo]", HTMLButtonElement, panel);
    this.redo = part("[data-edit=redo]", HTMLButtonElement, panel);
    this.bone.append(...legend.map(({ code, words }) => made("option", { value: String(code) }, words)), made("option", { value: "0" }, "No bone"));
    panel.addEventListener("click", (event) => this.click(event));
    this.bone.addEventListener("input", () => {
      tools.code = Number(this.bone.value);
    });
    this.radius.addEventListener("input", () => this.setRadius(Number(this.radius.value)));
    this.ball.addEventListener("input", () => {
      tools.isBall = this.ball.checked;
    });
    tools.addEventListener("changed", () => this.follow());
    edits.addEventListener("state", (event) => this.take(/** @type {CustomEvent} */ (event).detail));
    this.setRadius(3);
    this.follow();
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    const tool = event.target.closest("[data-tool]")?.getAttribute("data-tool");
    if (tool) this.tools.choose(this.tools.tool === tool ? "cursor" : /** @type {Tool} */ (tool));
    const step = event.target.closest("[data-edit]")?.getAttribute("data-edit");
    if (step === "undo" || step === "redo") this.edits.make({ how: step });
    const gone = event.target.closest("[data-remove]");
    if (gone) {
      this.edits.make({ how: "remove", kind: gone.getAttribute("data-remove"), number: Number(gone.getAttribute("data-number")) });
    }
  }

  /** @param {number} mm */
  setRadius(mm) {
    const radius = Math.min(Math.max(Math.round(2 * mm) / 2, 0.5), 20);
    this.tools.radius = radius;
    this.radius.value = String(radius);
    this.radiusWords.textContent = `${radius} mm`;
  }

  follow() {
    const { tool } = this.tools;
    for (const button of this.panel.querySelectorAll("[data-tool]")) {
      button.setAttribute("aria-pressed", String(button.getAttribute("data-tool") === tool));
    }
    this.how.textContent = /** @type {Record<string, string>} */ (HOW)[tool] ?? "";
  }

  /** @param {EditState} state */
  take(state) {
    this.undo.disabled = !state.canUndo;
    this.redo.disabled = !state.canRedo;
    const bone = (/** @type {number} */ code) => this.legend.find((row) => row.code === code)?.words ?? "No bone";
    this.marks.replaceChildren(
      ...state.cutList.map((cut, k) => this.mark(`Cut ${k + 1}, ${(2 * cut.radius).toFixed(0)} mm wide`, "cut", k)),
      ...state.seedList.map((seed, k) => this.mark(`Seed ${k + 1}: ${bone(seed.code)}`, "seed", k)),
    );
  }

  /** @param {string} words @param {string} kind @param {number} number */
  mark(words, kind, number) {
    const remove = made("button", { type: "button", class: "quiet small", "data-remove": kind, "data-number": String(number), "aria-label": `Remove ${words}` }, "Remove");
    return made("li", {}, made("span", {}, words), remove);
  }
}

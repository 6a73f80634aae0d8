// @ts-check
// Which bones' labels are shown, and how strongly they are filled.
//
// Event: "changed".

import { drawn, made, part } from "../lib/elements.js";

/** @typedef {import("./facts.js").LegendRow} LegendRow */

export class LabelsPanel extends EventTarget {
  /**
   * @param {HTMLElement} panel
   * @param {LegendRow[]} legend
   */
  constructor(panel, legend) {
    super();
    this.legend = legend;
    this.all = part("[data-labels-on]", HTMLInputElement, panel);
    this.opacity = part("[data-opacity]", HTMLInputElement, panel);
    this.rows = part("[data-legend]", HTMLElement, panel);
    this.rows.replaceChildren(...legend.map((row) => this.row(row)));
    for (const control of [this.all, this.opacity, this.rows]) {
      control.addEventListener("input", () => this.dispatchEvent(new CustomEvent("changed")));
    }
  }

  /** @param {LegendRow} row */
  row({ code, words, color }) {
    const box = made("input", { type: "checkbox", checked: true, value: String(code) });
    const swatch = drawn("svg", { class: "swatch", viewBox: "0 0 16 16", "aria-hidden": "true" }, drawn("rect", { width: 16, height: 16, rx: 3, fill: color }));
    return made("li", {}, made("label", { class: "choice" }, box, /** @type {any} */ (swatch), ` ${words}`));
  }

  get isOn() {
    return this.all.checked;
  }

  toggle() {
    this.all.checked = !this.all.checked;
    this.dispatchEvent(new CustomEvent("changed"));
  }

  get strength() {
    return Number(this.opacity.value) / 100;
  }

  /** Red, green, blue and alpha by code. */
  get colors() {
    const colors = new Float32Array(36);
    for (const { code, color } of this.legend) {
      for (let k = 0; k < 3; k += 1) colors[4 * code + k] = parseInt(color.slice(1 + 2 * k, 3 + 2 * k), 16) / 255;
      const box = this.rows.querySelector(`input[value="${code}"]`);
      colors[4 * code + 3] = box instanceof HTMLInputElement && box.checked ? 1 : 0;
    }
    return colors;
  }
}

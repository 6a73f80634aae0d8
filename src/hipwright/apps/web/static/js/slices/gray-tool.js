// @ts-check
// The gray window of all views: named windows, dragging, two sliders.
//
// Event: "changed".

import { made, part } from "../lib/elements.js";

/** @typedef {import("./facts.js").GrayPreset} GrayPreset */

export class GrayTool extends EventTarget {
  /** @param {HTMLElement} bar */
  constructor(bar) {
    super();
    this.choice = part("[data-windows]", HTMLElement, bar);
    this.center = part("[data-gray-center]", HTMLInputElement, bar);
    this.width = part("[data-gray-width]", HTMLInputElement, bar);
    this.gray = { center: 0, width: 1 };
    /** @type {GrayPreset[]} */
    this.windows = [];
    this.choice.addEventListener("click", (event) => {
      const button = event.target instanceof Element ? event.target.closest("[data-window]") : null;
      const preset = this.windows[Number(button?.getAttribute("data-window") ?? NaN)];
      if (preset) this.set(preset);
    });
    for (const slider of [this.center, this.width]) {
      slider.addEventListener("input", () =>
        this.set({ center: Number(this.center.value), width: Math.max(1, Number(this.width.value)) }));
    }
  }

  /** @param {GrayPreset[]} windows */
  offer(windows) {
    this.windows = windows;
    this.choice.replaceChildren(
      ...windows.map((preset, k) => made("button", { type: "button", "data-window": String(k), "aria-pressed": "false" }, preset.name)),
    );
    const whole = windows[windows.length - 1];
    if (whole) {
      const low = whole.center - whole.width / 2;
      Object.assign(this.center, { min: String(low), max: String(low + whole.width) });
      Object.assign(this.width, { min: "1", max: String(whole.width) });
    }
    if (windows[0]) this.set(windows[0]);
  }

  /** @param {{ center: number, width: number }} gray */
  set({ center, width }) {
    this.gray = { center, width };
    this.center.value = String(center);
    this.width.value = String(width);
    this.windows.forEach((preset, k) => {
      const chosen = preset.center === center && preset.width === width;
      this.choice.querySelector(`[data-window="${k}"]`)?.setAttribute("aria-pressed", String(chosen));
    });
    this.dispatchEvent(new CustomEvent("changed"));
  }

  /** Across for width, down for center. @param {[number, number]} by screen pixels */
  drag([across, down]) {
    const step = Math.max(this.gray.width, 50) / 300;
    this.set({ center: this.gray.center + down * step, width: Math.max(1, this.gray.width + across * step) });
  }
}

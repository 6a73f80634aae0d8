// @ts-check
// The controls under the picture: size, gray window, inverting, snapping, undo.

import { made, part } from "./facts.js";

export class PictureBar {
  /**
   * @param {HTMLElement} bar
   * @param {import("../components/film-view/film-view.js").FilmView} view
   * @param {import("./reading-model.js").ReadingModel} model
   * @param {import("./placing.js").Placing} placing
   */
  constructor(bar, view, model, placing) {
    this.bar = bar;
    this.view = view;
    this.model = model;
    this.placing = placing;
    this.center = part("[data-gray-center]", HTMLInputElement, bar);
    this.width = part("[data-gray-width]", HTMLInputElement, bar);
    this.snap = part("[data-do=snap]", HTMLButtonElement, bar);
    this.inverted = part("[data-do=invert]", HTMLButtonElement, bar);
    bar.addEventListener("click", (event) => this.click(event));
    for (const slider of [this.center, this.width]) {
      slider.addEventListener("input", () =>
        view.shade({ center: Number(this.center.value), width: Math.max(1, Number(this.width.value)) }));
    }
    view.addEventListener("film-ready", () => this.span());
    view.addEventListener("film-shaded", () => this.follow());
    view.addEventListener("film-moved", () => this.tellSize());
    model.addEventListener("changed", () => this.turns());
    this.turns();
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    const { view, model } = this;
    switch (event.target.closest("[data-do]")?.getAttribute("data-do")) {
      case "larger": view.zoom(1.25); break;
      case "smaller": view.zoom(0.8); break;
      case "fit": view.fit(); break;
      case "real": view.realSize(); break;
      case "invert": view.invert(); break;
      case "as-sent": view.shade(view.sent); break;
      case "usual": {
        const { low, high } = view.usual;
        view.shade({ center: (low + high) / 2, width: Math.max(high - low, 1) });
        break;
      }
      case "snap": this.toggleSnapping(); break;
      case "undo": model.undo(); break;
      case "redo": model.redo(); break;
      default:
    }
  }

  toggleSnapping() {
    this.placing.snaps = !this.placing.snaps;
    this.snap.setAttribute("aria-pressed", String(this.placing.snaps));
  }

  span() {
    const { low, high } = this.view.usual;
    const whole = Math.max(high - low, 1);
    this.center.min = String(Math.min(low, this.view.gray.center));
    this.center.max = String(Math.max(high, this.view.gray.center));
    this.width.min = "1";
    this.width.max = String(Math.max(1.5 * whole, this.view.gray.width));
    this.follow();
  }

  follow() {
    this.center.value = String(this.view.gray.center);
    this.width.value = String(this.view.gray.width);
    this.inverted.setAttribute("aria-pressed", String(this.view.inverted));
  }

  tellSize() {
    const percent = Math.round(100 * this.view.view.scale * (globalThis.devicePixelRatio || 1));
    part("[data-size]", HTMLElement, this.bar).replaceChildren(made("span", {}, `${percent} %`));
  }

  turns() {
    part("[data-do=undo]", HTMLButtonElement, this.bar).disabled = !this.model.history.canUndo;
    part("[data-do=redo]", HTMLButtonElement, this.bar).disabled = !this.model.history.canRedo;
  }
}

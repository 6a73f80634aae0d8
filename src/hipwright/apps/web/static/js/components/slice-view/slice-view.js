// @ts-check
// <slice-view>: one picture of a stack, with what stands at its edges: letters of the patient's
// directions, a length, the crosshair, and marks given in picture pixels. It tells gestures in
// picture pixels and knows nothing of volumes.
//
// Events: slice-press, slice-hover, slice-leave, slice-scroll, slice-regray, slice-drawn.

import * as transform from "../../lib/film-transform.js";
import { drawn, made } from "../../lib/elements.js";
import { scaleBar } from "../../lib/slice-geometry.js";
import { CanvasSlice } from "./slice-canvas.js";
import { GlSlice, hasGraphicsCard } from "./slice-gl.js";
import { SliceGestures } from "./slice-gestures.js";

/** @typedef {import("../../lib/film-transform.js").Place} Place */
/** @typedef {import("../../lib/slice-geometry.js").Pixel} Pixel */
/** @typedef {{ columns: number, rows: number, aspect: number, columnMm: number }} SliceSize */
/** @typedef {{ left: string, right: string, top: string, bottom: string }} Letters */
/** @typedef {import("../../lib/shaded-slice.js").Mixing} Shading */
/**
 * @typedef {object} Mark
 * @property {"line" | "dot" | "ring" | "area"} kind
 * @property {Pixel[]} at
 * @property {string} look a class
 * @property {string} [text]
 * @property {number} [radius] picture columns, for a ring
 */

const FAR = 20_000;

export class SliceView extends HTMLElement {
  constructor() {
    super();
    /** @type {SliceSize | null} */
    this.size = null;
    this.view = { scale: 1, x: 0, y: 0 };
    this.box = { width: 0, height: 0 };
    this.isFitted = true;
    /** @type {Shading} */
    this.shading = { center: 0, width: 1, labels: true, opacity: 0.3, colors: new Float32Array(36) };
    /** @type {Pixel | null} */
    this.cursor = null;
    /** @type {Mark[]} */
    this.marks = [];
    /** @type {"press" | "gray" | "move"} */
    this.tool = "press";
    this.frame = 0;
    this.isStale = true;
    this.shownNumber = -1;
  }

  connectedCallback() {
    if (this.canvas) return;
    this.tabIndex = 0;
    this.setAttribute("role", "application");
    this.setAttribute("aria-roledescription", "slices");
    this.canvas = made("canvas", { class: "drawn" });
    this.over = drawn("svg", { class: "over", "aria-hidden": "true" });
    this.letters = ["left", "right", "top", "bottom"].map((edge) =>
      made("span", { class: `letter ${edge}`, "aria-hidden": "true" }));
    this.append(this.canvas, this.over, ...this.letters);
    this.picture = this.makePicture();
    new SliceGestures(this, {
      tool: () => this.tool,
      press: (phase, at) => this.tell("slice-press", { phase, pixel: this.pixelAt(at) }),
      pan: (by) => this.move((size, box) => transform.shifted(this.view, size, box, by)),
      zoom: (factor, at) => this.zoom(factor, at),
      regray: (by) => this.tell("slice-regray", { by }),
      scroll: (by) => this.tell("slice-scroll", { by }),
      hover: (at) => this.tell("slice-hover", { pixel: this.pixelAt(at) }),
      leave: () => this.tell("slice-leave", {}),
    });
    new ResizeObserver(() => this.resized()).observe(this);
  }

  makePicture() {
    const canvas = /** @type {HTMLCanvasElement} */ (this.canvas);
    if (!hasGraphicsCard()) return new CanvasSlice(canvas);
    try {
      const picture = new GlSlice(canvas);
      canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
      canvas.addEventListener("webglcontextrestored", () => {
        this.picture = new GlSlice(canvas);
        this.tell("slice-restored", {});
      });
      return picture;
    } catch {
      const plain = made("canvas", { class: "drawn" });
      canvas.replaceWith(plain);
      this.canvas = plain;
      return new CanvasSlice(plain);
    }
  }

  /**
   * A stack is shown from now on.
   * @param {SliceSize} size
   * @param {Letters} letters
   */
  start(size, letters) {
    this.size = size;
    this.name(letters);
    this.fit();
  }

  /** What stands at the edges. @param {Letters} letters */
  name(letters) {
    const words = [letters.left, letters.right, letters.top, letters.bottom];
    this.letters?.forEach((letter, k) => {
      letter.textContent = words[k] ?? "";
    });
  }

  /**
   * @param {Int16Array} values
   * @param {Uint8Array | null} codes
   * @param {number} number which picture of the stack
   */
  show(values, codes, number) {
    if (!this.size) return;
    this.picture?.load(values, codes, this.size);
    this.waiting = number;
    this.redraw();
  }

  /** The picture itself has changed, or how it is seen. */
  redraw() {
    this.isStale = true;
    this.redrawOver();
  }

  /** Only what lies over the picture has changed: that is much less work. */
  redrawOver() {
    this.frame ||= requestAnimationFrame(() => this.paint());
  }

  paint() {
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    if (!this.size || this.box.width === 0) return;
    if (this.isStale) this.picture?.draw(this.view, this.shading);
    this.isStale = false;
    this.paintOver();
    if (this.waiting !== undefined && this.waiting !== this.shownNumber) {
      this.shownNumber = this.waiting;
      this.tell("slice-drawn", { number: this.shownNumber });
    }
  }

  paintOver() {
    const { over, size } = this;
    if (!over || !size) return;
    /** @type {SVGElement[]} */
    const shapes = [];
    if (this.cursor) {
      const [x, y] = this.screenOf(this.cursor);
      const gap = 14;
      shapes.push(
        drawn("path", {
          class: "cross",
          d: `M${-FAR} ${y}H${x - gap}M${x + gap} ${y}H${FAR}M${x} ${-FAR}V${y - gap}M${x} ${y + gap}V${FAR}`,
        }),
      );
    }
    for (const mark of this.marks) shapes.push(...this.shapesOf(mark));
    const bar = scaleBar(size.columnMm / this.view.scale, Math.min(120, this.box.width / 5));
    const [left, low] = [12, this.box.height - 12];
    shapes.push(
      drawn("path", { class: "length", d: `M${left} ${low - 5}v5h${bar.pixels}v-5` }),
      drawn("text", { class: "length-words", x: left + bar.pixels + 6, y: low }, `${bar.mm} mm`),
    );
    over.replaceChildren(...shapes);
  }

  /** @param {Mark} mark */
  shapesOf({ kind, at, look, text, radius }) {
    const spots = at.map((pixel) => this.screenOf(pixel));
    const path = `M${spots.map((spot) => spot.map((n) => n.toFixed(1)).join(" ")).join("L")}`;
    const [x, y] = spots[0] ?? [0, 0];
    /** @type {SVGElement[]} */
    const shapes = [];
    if (kind === "line") shapes.push(drawn("path", { class: look, d: path }));
    else if (kind === "area") shapes.push(drawn("path", { class: look, d: `${path}Z` }));
    else if (kind === "ring") {
      const across = (radius ?? 1) * this.view.scale;
      shapes.push(drawn("ellipse", { class: look, cx: x, cy: y, rx: across, ry: across }));
    } else shapes.push(drawn("circle", { class: look, cx: x, cy: y, r: 4 }));
    if (text) shapes.push(drawn("text", { class: "mark-words", x: x + 7, y: y - 7 }, text));
    return shapes;
  }

  /** @param {Pixel} pixel @returns {Place} */
  screenOf(pixel) {
    return this.size ? transform.toScreen(this.view, this.size, pixel) : [0, 0];
  }

  /** @param {Place} at @returns {Pixel} */
  pixelAt(at) {
    return this.size ? transform.toFilm(this.view, this.size, at) : [0, 0];
  }

  fit() {
    this.isFitted = true;
    this.move((size, box) => transform.fitted(size, box));
    this.isFitted = true;
  }

  /**
   * @param {number} factor
   * @param {Place} [at]
   */
  zoom(factor, at = [this.box.width / 2, this.box.height / 2]) {
    this.move((size, box) => transform.zoomed(this.view, size, box, factor, at));
  }

  /** As little as needed, so that a pixel is well inside. @param {Pixel} pixel */
  reveal(pixel) {
    if (this.isFitted) return;
    this.move((size, box) => transform.showing(this.view, size, box, pixel));
  }

  /** @param {(size: SliceSize, box: { width: number, height: number }) => { scale: number, x: number, y: number }} how */
  move(how) {
    if (!this.size || this.box.width === 0) return;
    this.isFitted = false;
    this.view = how(this.size, this.box);
    this.redraw();
  }

  resized() {
    const { clientWidth: width, clientHeight: height, canvas } = this;
    if (!canvas || width === 0 || height === 0) return;
    const was = this.box;
    this.box = { width, height };
    const ratio = Math.min(globalThis.devicePixelRatio || 1, 2);
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    this.over?.setAttribute("viewBox", `0 0 ${width} ${height}`);
    if (this.isFitted || was.width === 0) this.fit();
    else this.move((size, box) => transform.kept(this.view, size, box));
    this.isStale = true;
    this.paint();
  }

  /**
   * @param {string} name
   * @param {object} detail
   */
  tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}

export function registerSliceView() {
  if (!customElements.get("slice-view")) customElements.define("slice-view", SliceView);
}

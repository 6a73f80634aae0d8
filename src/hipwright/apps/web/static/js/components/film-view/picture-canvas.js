// @ts-check
// Draws a film without a graphics card: the window is applied here, in 8 bits.

import { brightnessTable } from "../../lib/gray-window.js";

/** @typedef {import("../../lib/film-transform.js").View} View */
/** @typedef {import("../../lib/film-transform.js").FilmSize} FilmSize */
/** @typedef {import("../../lib/gray-window.js").GrayWindow} GrayWindow */

export class CanvasPicture {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    const context = canvas.getContext("2d");
    if (!context) throw new Error("no canvas");
    this.canvas = canvas;
    this.context = context;
    this.reduced = 1;
    this.shaded = document.createElement("canvas");
    this.shadedWith = "";
    /** @type {Uint16Array} */
    this.values = new Uint16Array();
    /** @type {FilmSize | null} */
    this.film = null;
  }

  /**
   * @param {Uint16Array} values
   * @param {FilmSize} film
   */
  load(values, film) {
    this.values = values;
    this.film = film;
    this.shaded.width = film.columns;
    this.shaded.height = film.rows;
    this.shadedWith = "";
  }

  /**
   * @param {View} view
   * @param {GrayWindow} gray
   * @param {boolean} inverted
   */
  draw(view, gray, inverted) {
    const { film, context, canvas } = this;
    if (!film) return;
    this.shade(gray, inverted);
    const ratio = canvas.width / Math.max(canvas.clientWidth, 1);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, canvas.width, canvas.height);
    context.imageSmoothingQuality = "high";
    context.drawImage(
      this.shaded,
      view.x * ratio,
      view.y * ratio,
      film.columns * view.scale * ratio,
      film.rows * view.scale * film.aspect * ratio,
    );
  }

  /**
   * @param {GrayWindow} gray
   * @param {boolean} inverted
   */
  shade(gray, inverted) {
    const how = `${gray.center} ${gray.width} ${inverted}`;
    const target = this.shaded.getContext("2d");
    if (how === this.shadedWith || !target) return;
    const table = brightnessTable(gray, inverted);
    const image = target.createImageData(this.shaded.width, this.shaded.height);
    const { data } = image;
    for (let index = 0, to = 0; index < this.values.length; index += 1, to += 4) {
      const shade = /** @type {number} */ (table[/** @type {number} */ (this.values[index])]);
      data[to] = shade;
      data[to + 1] = shade;
      data[to + 2] = shade;
      data[to + 3] = 255;
    }
    target.putImageData(image, 0, 0);
    this.shadedWith = how;
  }
}

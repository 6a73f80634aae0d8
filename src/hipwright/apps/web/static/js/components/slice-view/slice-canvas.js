// @ts-check
// Draws a slice without a graphics card: window and labels are mixed here, in 8 bits.

import { grayTable, shaded } from "../../lib/shaded-slice.js";

/** @typedef {import("../../lib/film-transform.js").View} View */
/** @typedef {import("./slice-view.js").Shading} Shading */
/** @typedef {import("./slice-gl.js").Size} Size */

export class CanvasSlice {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    const context = canvas.getContext("2d");
    if (!context) throw new Error("no canvas");
    this.canvas = canvas;
    this.context = context;
    this.mixed = document.createElement("canvas");
    this.mixedWith = "";
    this.tabled = "";
    this.table = new Uint8ClampedArray();
    /** @type {ImageData | null} */
    this.image = null;
    /** @type {Size | null} */
    this.size = null;
    /** @type {Int16Array} */
    this.values = new Int16Array();
    /** @type {Uint8Array | null} */
    this.codes = null;
  }

  /**
   * @param {Int16Array} values
   * @param {Uint8Array | null} codes
   * @param {Size} size
   */
  load(values, codes, size) {
    this.values = values;
    this.codes = codes;
    this.size = size;
    this.mixedWith = "";
  }

  /**
   * The picture in 8 bits; moving it about does not need it anew.
   * @param {Size} size
   * @param {Shading} shading
   */
  mix(size, shading) {
    const gray = `${shading.center} ${shading.width}`;
    const how = `${gray} ${shading.labels} ${shading.opacity} ${shading.colors.join()}`;
    if (how === this.mixedWith) return;
    this.mixedWith = how;
    if (gray !== this.tabled) this.table = grayTable(shading.center, shading.width);
    this.tabled = gray;
    if (this.mixed.width !== size.columns || this.mixed.height !== size.rows) {
      this.mixed.width = size.columns;
      this.mixed.height = size.rows;
      this.image = null;
    }
    const target = this.mixed.getContext("2d");
    if (!target) return;
    this.image ??= target.createImageData(size.columns, size.rows);
    shaded(this.image.data, this.values, this.codes, size.columns, shading, this.table);
    target.putImageData(this.image, 0, 0);
  }

  /**
   * @param {View} view
   * @param {Shading} shading
   */
  draw(view, shading) {
    const { canvas, context, size } = this;
    if (!size) return;
    this.mix(size, shading);
    const ratio = canvas.width / Math.max(canvas.clientWidth, 1);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, canvas.width, canvas.height);
    context.imageSmoothingQuality = "high";
    context.drawImage(
      this.mixed,
      view.x * ratio,
      view.y * ratio,
      size.columns * view.scale * ratio,
      size.rows * view.scale * size.aspect * ratio,
    );
  }
}

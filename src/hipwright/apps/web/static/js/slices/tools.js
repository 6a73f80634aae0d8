// @ts-check
// What a press on a view does: move the crosshair, paint, fill, cut, set a seed, place an axis.
// Every tool works by keys too, at the crosshair.
//
// Events: "changed" (another tool), "placed" (detail: { which: "head" | "neck", place }).

import { columnMm, pixelAt, placeAt } from "../lib/slice-geometry.js";
import { DIRECTIONS } from "./facts.js";

/** @typedef {import("../lib/slice-geometry.js").Pixel} Pixel */
/** @typedef {import("../lib/slice-geometry.js").Point} Point */
/** @typedef {import("./facts.js").Direction} Direction */
/** @typedef {import("./facts.js").Tool} Tool */
/** @typedef {import("./linked-views.js").LinkedViews} LinkedViews */
/** @typedef {import("./edit-line.js").EditLine} EditLine */

export const NEEDS_EDITS = new Set(["brush", "eraser", "outline", "region", "cut", "seed"]);
const PAINTS = new Set(["brush", "eraser"]);

export class Tools extends EventTarget {
  /**
   * @param {LinkedViews} views
   * @param {EditLine} edits
   */
  constructor(views, edits) {
    super();
    this.views = views;
    this.edits = edits;
    /** @type {Tool} */
    this.tool = "cursor";
    this.code = 1;
    this.radius = 3;
    this.isBall = false;
    /** @type {{ direction: Direction, path: Pixel[] } | null} */
    this.drawing = null;
    for (const direction of DIRECTIONS) {
      const { view } = views.shown[direction];
      view.addEventListener("slice-press", (event) => {
        const { phase, pixel } = /** @type {CustomEvent} */ (event).detail;
        this.press(direction, phase, pixel);
      });
      view.addEventListener("slice-hover", (event) => this.hover(direction, /** @type {CustomEvent} */ (event).detail.pixel));
      view.addEventListener("slice-leave", () => {
        if (!this.drawing) views.sketch(direction, []);
      });
    }
  }

  /** @param {Tool} tool */
  choose(tool) {
    this.tool = tool;
    this.stop();
    this.views.use(tool === "gray" || tool === "move" ? tool : "press");
    this.dispatchEvent(new CustomEvent("changed"));
  }

  /** What was begun is given up. */
  stop() {
    if (this.drawing) this.views.sketch(this.drawing.direction, []);
    this.drawing = null;
  }

  get isPainting() {
    return PAINTS.has(this.tool);
  }

  /**
   * @param {Direction} direction
   * @param {"start" | "move" | "end" | "cancel"} phase
   * @param {Pixel} pixel
   */
  press(direction, phase, pixel) {
    if (phase === "cancel") {
      this.stop();
      return;
    }
    switch (this.tool) {
      case "cursor":
        if (phase !== "end") this.views.moveTo(this.placeOf(direction, this.inside(direction, pixel)));
        break;
      case "region":
      case "seed":
      case "head":
      case "neck":
        if (phase === "start") this.touch(direction, pixel);
        break;
      default:
        this.stroke(direction, phase, pixel);
    }
  }

  /** One press that means one place. @param {Direction} direction @param {Pixel} pixel */
  touch(direction, pixel) {
    const at = this.placeOf(direction, pixel);
    if (this.tool === "region") this.paint(direction, "region", [pixel]);
    else if (this.tool === "seed") this.edits.make({ how: "seed", at, code: this.code });
    else {
      this.views.moveTo(at);
      this.dispatchEvent(new CustomEvent("placed", { detail: { which: this.tool, place: at } }));
    }
  }

  /**
   * @param {Direction} direction
   * @param {"start" | "move" | "end"} phase
   * @param {Pixel} pixel
   */
  stroke(direction, phase, pixel) {
    if (phase === "start") this.drawing = { direction, path: [pixel] };
    if (!this.drawing) return;
    const { path } = this.drawing;
    const last = path[path.length - 1];
    if (this.tool === "cut") this.drawing.path = [/** @type {Pixel} */ (path[0]), pixel];
    else if (!last || Math.hypot(pixel[0] - last[0], pixel[1] - last[1]) > 0.4) path.push(pixel);
    if (phase === "end") this.finish();
    else this.views.sketch(direction, this.sketched());
  }

  finish() {
    if (!this.drawing) return;
    const { direction, path } = this.drawing;
    if (this.tool === "cut") this.cut(direction, path);
    else if (this.tool === "outline") this.paint(direction, "outline", path);
    else this.paint(direction, this.isBall ? "ball" : "disc", path);
    // The sketch stays until the labels have come, so that nothing flickers.
    this.drawing = null;
    this.edits.line.then(() => {
      if (!this.drawing) this.views.sketch(direction, []);
    });
  }

  /** @param {Direction} direction @param {Pixel[]} path */
  cut(direction, path) {
    const ends = [path[0], path[path.length - 1]].map((pixel) => this.placeOf(direction, /** @type {Pixel} */ (pixel)));
    this.edits.make({ how: "cut", direction, path: ends });
  }

  /**
   * @param {Direction} direction
   * @param {"ball" | "disc" | "outline" | "region"} how
   * @param {Pixel[]} path
   */
  paint(direction, how, path) {
    const step = Math.ceil(path.length / 2000);
    this.edits.make({
      how,
      direction,
      index: this.views.shown[direction].index,
      path: path.filter((_, k) => k % step === 0 || k === path.length - 1).map((pixel) => this.placeOf(direction, pixel)),
      radius: this.radius,
      code: this.tool === "eraser" ? 0 : this.code,
    });
  }

  /** The chosen tool at the crosshair, by key: places and dabs at once, lines from key to key. */
  byKey(/** @type {Direction} */ direction, /** @type {boolean} */ last) {
    const { pixel } = pixelAt(this.views.store.view(direction), this.views.cursor);
    if (this.tool === "region" || this.tool === "seed" || this.tool === "head" || this.tool === "neck") {
      this.touch(direction, pixel);
    } else if (this.isPainting) {
      this.paint(direction, this.isBall ? "ball" : "disc", [pixel]);
    } else if (this.tool === "cut" || this.tool === "outline") {
      if (this.drawing?.direction !== direction) this.drawing = { direction, path: [] };
      this.drawing.path.push(pixel);
      if (this.tool === "cut" ? this.drawing.path.length === 2 : last) this.finish();
      else this.views.sketch(direction, this.sketched());
    }
  }

  /** @param {Direction} direction @param {Pixel} pixel */
  hover(direction, pixel) {
    if (this.drawing || !this.isPainting) return;
    this.views.sketch(direction, [this.ring(direction, pixel)]);
  }

  /** @param {Direction} direction @param {Pixel} pixel @returns {import("../components/slice-view/slice-view.js").Mark} */
  ring(direction, pixel) {
    return { kind: "ring", at: [pixel], look: `brush ${this.tool}`, radius: this.radius / columnMm(this.views.store.view(direction)) };
  }

  /** @returns {import("../components/slice-view/slice-view.js").Mark[]} */
  sketched() {
    if (!this.drawing) return [];
    const { direction, path } = this.drawing;
    const end = /** @type {Pixel} */ (path[path.length - 1]);
    if (this.tool === "cut") return [{ kind: "line", at: path, look: "cut" }];
    if (this.tool === "outline") return [{ kind: "area", at: path, look: "outline" }];
    return [{ kind: "line", at: path, look: `stroke ${this.tool}` }, this.ring(direction, end)];
  }

  /** @param {Direction} direction @param {Pixel} pixel @returns {Pixel} */
  inside(direction, [column, row]) {
    const { columns, rows } = this.views.store.view(direction);
    return [Math.min(Math.max(column, 0), columns - 1), Math.min(Math.max(row, 0), rows - 1)];
  }

  /** @param {Direction} direction @param {Pixel} pixel @returns {Point} */
  placeOf(direction, pixel) {
    return placeAt(this.views.store.view(direction), this.views.shown[direction].index, pixel);
  }
}

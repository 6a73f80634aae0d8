// @ts-check
// Three views with one crosshair: where it is moved in one, the others follow.
//
// Events: "cursor", "size" (another view is large), "drawn" (detail: { direction, index }).

import { aspectOf, columnMm, discInView, pixelAt, placeAt } from "../lib/slice-geometry.js";
import { SliceView } from "../components/slice-view/slice-view.js";
import { part } from "../lib/elements.js";
import { DIRECTIONS } from "./facts.js";

/** @typedef {import("../lib/slice-geometry.js").Point} Point */
/** @typedef {import("../lib/slice-geometry.js").Pixel} Pixel */
/** @typedef {import("../components/slice-view/slice-view.js").Mark} Mark */
/** @typedef {import("./facts.js").Direction} Direction */
/** @typedef {import("./series-store.js").SeriesStore} SeriesStore */
/** @typedef {{ figure: HTMLElement, view: SliceView, slider: HTMLInputElement, words: HTMLElement, index: number, way: number, marks: Mark[] }} Shown */

/** @param {import("../lib/slice-geometry.js").ViewFacts} view @param {Point} place */
function isInside(view, place) {
  const { pixel, index } = pixelAt(view, place);
  return pixel[0] >= 0 && pixel[0] < view.columns && pixel[1] >= 0 && pixel[1] < view.rows && index >= 0 && index < view.count;
}

const NAMES = { axial: "Axial", coronal: "Coronal", sagittal: "Sagittal" };

export class LinkedViews extends EventTarget {
  /**
   * @param {HTMLElement} host
   * @param {SeriesStore} store
   */
  constructor(host, store) {
    super();
    this.host = host;
    this.store = store;
    /** @type {Point} */
    this.cursor = [0, 0, 0];
    this.crosshair = true;
    /** @type {import("./facts.js").EditState | null} */
    this.edits = null;
    /** @type {Record<Direction, Shown>} */
    this.shown = /** @type {Record<Direction, Shown>} */ ({});
    for (const direction of DIRECTIONS) this.shown[direction] = this.adopt(direction);
    store.addEventListener("arrived", (event) => {
      const { direction, first, count } = /** @type {CustomEvent} */ (event).detail;
      const { index } = this.shown[/** @type {Direction} */ (direction)];
      if (index >= first && index < first + count) this.picture(direction);
    });
  }

  /** @param {Direction} direction @returns {Shown} */
  adopt(direction) {
    const figure = part(`[data-figure=${direction}]`, HTMLElement, this.host);
    const view = part("slice-view", SliceView, figure);
    const slider = part("[data-slider]", HTMLInputElement, figure);
    const words = part("[data-where]", HTMLElement, figure);
    slider.addEventListener("input", () => this.goTo(direction, Number(slider.value)));
    view.addEventListener("slice-scroll", (event) => this.scroll(direction, /** @type {CustomEvent} */ (event).detail.by));
    view.addEventListener("slice-restored", () => this.picture(direction));
    view.addEventListener("slice-drawn", (event) => {
      const index = /** @type {CustomEvent} */ (event).detail.number;
      this.dispatchEvent(new CustomEvent("drawn", { detail: { direction, index } }));
    });
    return { figure, view, slider, words, index: 0, way: 0, marks: [] };
  }

  /** Show a block from a place in it, else from its middle. @param {Point | null} [from] */
  start(from = null) {
    for (const direction of DIRECTIONS) {
      const facts = this.store.view(direction);
      const { view, slider } = this.shown[direction];
      slider.max = String(facts.count - 1);
      view.setAttribute("aria-label", `${NAMES[direction]} view, ${facts.count} slices`);
      view.start(
        { columns: facts.columns, rows: facts.rows, aspect: aspectOf(facts), columnMm: columnMm(facts) },
        facts.letters,
      );
    }
    const axial = this.store.view("axial");
    const inside = from && isInside(axial, from);
    this.moveTo(inside ? from : placeAt(axial, (axial.count - 1) >> 1, [(axial.columns - 1) / 2, (axial.rows - 1) / 2]));
  }

  /** @param {Point} place */
  moveTo(place) {
    this.cursor = place;
    for (const direction of DIRECTIONS) {
      const facts = this.store.view(direction);
      const index = Math.min(Math.max(Math.round(pixelAt(facts, place).index), 0), facts.count - 1);
      const shown = this.shown[direction];
      const moved = index !== shown.index || shown.view.shownNumber < 0;
      shown.way = Math.sign(index - shown.index);
      shown.index = index;
      shown.view.cursor = this.crosshair ? pixelAt(facts, place).pixel : null;
      this.follow(direction);
      if (moved) this.picture(direction);
      else shown.view.redrawOver();
    }
    this.dispatchEvent(new CustomEvent("cursor"));
  }

  /** @param {Direction} direction @param {number} by */
  scroll(direction, by) {
    this.goTo(direction, this.shown[direction].index + by);
  }

  /** @param {Direction} direction @param {number} wanted */
  goTo(direction, wanted) {
    const facts = this.store.view(direction);
    const index = Math.min(Math.max(wanted, 0), facts.count - 1);
    const { pixel } = pixelAt(facts, this.cursor);
    this.moveTo(placeAt(facts, index, pixel));
  }

  /** @param {Direction} direction @param {Pixel} by */
  nudge(direction, [columns, rows]) {
    const facts = this.store.view(direction);
    const { pixel } = pixelAt(facts, this.cursor);
    const column = Math.min(Math.max(pixel[0] + columns, 0), facts.columns - 1);
    const row = Math.min(Math.max(pixel[1] + rows, 0), facts.rows - 1);
    this.moveTo(placeAt(facts, this.shown[direction].index, [column, row]));
    this.shown[direction].view.reveal([column, row]);
  }

  /** @param {Direction} direction */
  picture(direction) {
    const shown = this.shown[direction];
    const values = this.store.valuesOf(direction, shown.index);
    const codes = this.store.codesOf(direction, shown.index);
    if (values) shown.view.show(values, codes, shown.index);
    this.store.prepare(direction, shown.index, shown.way);
  }

  /** Labels or marks have changed. */
  refresh() {
    for (const direction of DIRECTIONS) {
      this.follow(direction);
      this.picture(direction);
    }
  }

  /** @param {Direction} direction */
  follow(direction) {
    const facts = this.store.view(direction);
    const { slider, words, view, index, marks } = this.shown[direction];
    slider.value = String(index);
    const place = `${(index * facts.stepMm).toFixed(1)} mm`;
    words.textContent = `${index + 1} of ${facts.count}, ${place}`;
    slider.setAttribute("aria-valuetext", `${index + 1} of ${facts.count}, ${place}`);
    view.marks = [...this.kept(direction), ...marks];
  }

  /** Cuts and seeds that meet the picture. @param {Direction} direction @returns {Mark[]} */
  kept(direction) {
    if (!this.edits) return [];
    const facts = this.store.view(direction);
    const { index } = this.shown[direction];
    /** @type {Mark[]} */
    const marks = [];
    this.edits.cutList.forEach((cut, k) => {
      const ends = discInView(cut, facts, index);
      if (ends) marks.push({ kind: "line", at: ends, look: "cut" }, { kind: "dot", at: [ends[0]], look: "cut-end", text: `cut ${k + 1}` });
    });
    this.edits.seedList.forEach((seed, k) => {
      const where = pixelAt(facts, seed.at);
      if (Math.abs(where.index - index) < 1.5) marks.push({ kind: "dot", at: [where.pixel], look: "seed", text: `seed ${k + 1}` });
    });
    return marks;
  }

  /** What is being drawn just now. @param {Direction} direction @param {Mark[]} marks */
  sketch(direction, marks) {
    this.shown[direction].marks = marks;
    this.follow(direction);
    this.shown[direction].view.redrawOver();
  }

  /** @param {import("../components/slice-view/slice-view.js").Shading} shading */
  shade(shading) {
    for (const direction of DIRECTIONS) {
      this.shown[direction].view.shading = shading;
      this.shown[direction].view.redraw();
    }
  }

  /** @param {"press" | "gray" | "move"} tool */
  use(tool) {
    for (const direction of DIRECTIONS) this.shown[direction].view.tool = tool;
  }

  /** Which view is the large one. @param {string} name */
  enlarge(name) {
    this.host.dataset["large"] = name;
    this.dispatchEvent(new CustomEvent("size"));
  }
}

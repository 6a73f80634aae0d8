// @ts-check
// What lies over the picture: handles, outlines, fitted circles, lines of the chosen
// measurement, other readers' landmarks. Everything is given in film pixels.

import { fromKey, keyOf } from "../lib/placed.js";
import { drawn } from "./facts.js";
import { handleShape } from "./handle-shapes.js";

/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {import("../lib/placed.js").Item} Item */
/** @typedef {import("../lib/placed.js").Placed} Placed */
/** @typedef {import("./reading-model.js").ReadingModel} ReadingModel */
/** @typedef {import("../components/film-view/film-view.js").FilmView} FilmView */
/** @typedef {import("./facts.js").Mark} Mark */
/** @typedef {import("./facts.js").FittedCircle} FittedCircle */

/** Mean width of a letter of a value, in pixels of the screen. */
const VALUE_LETTER = 8;

/** The same of a name, and how high its line is. */
const NAME_LETTER = 7.2;
const NAME_LINE = 15;
const NAME_AT = { x: 15, y: 26 };

export class Overlay {
  /**
   * @param {FilmView} view
   * @param {ReadingModel} model
   */
  constructor(view, model) {
    this.view = view;
    this.model = model;
    /** @type {Mark[]} */
    this.marks = [];
    /** @type {FittedCircle[]} */
    this.circles = [];
    /** @type {Item[]} */
    this.ghosts = [];
    /** @type {Place | null} */
    this.crosshair = null;
    this.namesShown = false;
    /** What the chosen measurement is made of; all else steps back. @type {Set<string> | null} */
    this.used = null;
    this.wanted = 0;
    this.svg = drawn("svg", { class: "overlay" });
    this.layers = Object.fromEntries(
      ["ghosts", "marks", "outlines", "between", "handles", "values", "cross"].map((name) => {
        const layer = drawn("g", { class: name });
        this.svg.append(layer);
        return [name, layer];
      }),
    );
    /** @type {Map<string, SVGElement>} */
    this.handles = new Map();
    view.append(this.svg);
    view.nearestHandle = (at, under) => this.nearest(at, under);
    view.addEventListener("film-moved", () => this.redraw());
  }

  redraw() {
    if (this.wanted) return;
    this.wanted = requestAnimationFrame(() => this.paint());
  }

  paint() {
    cancelAnimationFrame(this.wanted);
    this.wanted = 0;
    if (!this.view.isReady) return;
    // Far out, whole handles would cover the bone they mark.
    const size = Math.min(Math.max(Math.sqrt(this.view.view.scale / 0.45), 0.5), 1);
    this.svg.style.setProperty("--handle", size.toFixed(2));
    this.fill("ghosts", this.ghosts.flatMap((item) => this.ghost(item)));
    this.fill("marks", this.marks.flatMap((mark) =>
      mark.kind === "label" ? [] : [this.line(mark.xy, `mark ${mark.stroke}`)]));
    this.fill("outlines", [
      ...this.circles.map((circle) => this.line(circle.xy, this.outlineClass(circle), true)),
      ...[...this.model.placed].flatMap(([key, item]) => this.outline(key, item)),
    ]);
    this.fill("between", this.between());
    this.paintHandles();
    this.fill("values", this.marks.flatMap((mark) => (mark.kind === "label" ? [this.value(mark)] : [])));
    this.fill("cross", this.crosshair ? [this.cross(this.crosshair)] : []);
  }

  /** @param {string} name @param {Node[]} children */
  fill(name, children) {
    this.layers[name]?.replaceChildren(...children);
  }

  /** @param {{ id: string, side: import("../lib/placed.js").SideName }} circle */
  outlineClass({ id, side }) {
    const key = keyOf(id, side);
    return `fitted${key === this.model.target ? " active" : ""}${this.back(key)}`;
  }

  /** @param {string} key */
  back(key) {
    return this.used && !this.used.has(key) && key !== this.model.target ? " back" : "";
  }

  /** @param {string} key @param {Item} item */
  outline(key, item) {
    const kind = this.model.landmarkOf(key)?.kind;
    if (kind !== "contour" || item.xy.length < 2) return [];
    const isActive = key === this.model.target;
    const line = this.line(item.xy, `contour${isActive ? " active" : ""}${this.back(key)}`);
    const points = line.querySelector(".over")?.getAttribute("points") ?? "";
    // An outline is chosen by its line; its points show once it is chosen.
    if (!isActive) line.append(drawn("polyline", { points, class: "hit", "data-handle": `${key}~0` }));
    return [line];
  }

  /** Places where the active contour can be given a further vertex. */
  between() {
    const key = this.model.target;
    const item = key === null ? undefined : this.model.placed.get(key);
    if (!item || key === null || this.model.isPlacing) return [];
    if (this.model.landmarkOf(key)?.kind !== "contour") return [];
    return item.xy.slice(1).map((after, index) => {
      const before = /** @type {Place} */ (item.xy[index]);
      const [x, y] = this.view.screenOf([(before[0] + after[0]) / 2, (before[1] + after[1]) / 2]);
      return drawn("g", { "data-handle": `${key}+${index + 1}`, class: "add", transform: `translate(${x},${y})` },
        drawn("circle", { r: 9, class: "grip" }), drawn("path", { d: "M-4,0H4M0,-4V4", class: "under" }),
        drawn("path", { d: "M-4,0H4M0,-4V4", class: "over" }));
    });
  }

  /** @param {readonly Place[]} xy @param {string} name @param {boolean} [closed] */
  line(xy, name, closed = false) {
    const points = xy.map((place) => this.view.screenOf(place).map((n) => n.toFixed(2)).join(","));
    const group = drawn("g", { class: name });
    for (const layer of ["under", "over"]) {
      group.append(drawn(closed ? "polygon" : "polyline", { points: points.join(" "), class: layer }));
    }
    return group;
  }

  /** The value beside its construction, on a ground of its own. @param {{ at: Place, text: string }} mark */
  value(mark) {
    const [x, y] = this.view.screenOf(mark.at);
    const width = VALUE_LETTER * mark.text.length + 14;
    const { width: most } = this.view.box;
    const left = Math.max(4, Math.min(x + 10, most - width - 4));
    return drawn("g", { class: "label value", transform: `translate(${left.toFixed(1)},${(y - 14).toFixed(1)})` },
      drawn("rect", { x: 0, y: -16, width, height: 23, rx: 4 }),
      drawn("text", { x: 7, y: 0 }, mark.text));
  }

  /** @param {Item} item */
  ghost(item) {
    const kind = this.model.landmarks.get(item.id)?.kind;
    if (kind === "contour") return [this.line(item.xy, "ghost")];
    return item.xy.map((place) => {
      const [x, y] = this.view.screenOf(place);
      return drawn("path", { d: "M-5,-5L5,5M-5,5L5,-5", class: "ghost", transform: `translate(${x},${y})` });
    });
  }

  /** @param {Place} place */
  cross(place) {
    const [x, y] = this.view.screenOf(place);
    const d = "M-22,0H-5M5,0H22M0,-22V-5M0,5V22";
    return drawn("g", { transform: `translate(${x},${y})`, class: "crosshair" },
      drawn("path", { d, class: "under" }), drawn("path", { d, class: "over" }));
  }

  paintHandles() {
    /** @type {Set<string>} */
    const kept = new Set();
    for (const [key, item] of this.model.placed) {
      const isActive = key === this.model.target;
      const isPoint = this.model.landmarkOf(key)?.kind === "point";
      item.xy.forEach((place, index) => {
        if (isPoint || isActive || index === 0) this.handle(key, index, place, kept);
      });
    }
    this.spreadNames();
    for (const [name, element] of this.handles) {
      if (kept.has(name)) continue;
      if (element === document.activeElement) this.view.focus({ preventScroll: true });
      element.remove();
      this.handles.delete(name);
    }
  }

  /** All names are asked for: those that would cover another wait until there is room. */
  spreadNames() {
    if (!this.namesShown) return;
    const rank = (/** @type {string} */ key) => (key === this.model.target ? 0 : this.used?.has(key) ? 1 : 2);
    const asked = [...this.model.placed].sort(([a], [b]) => rank(a) - rank(b));
    /** @type {Place[]} */
    const taken = [];
    const wide = (/** @type {string} */ key) => NAME_LETTER * this.nameOf(key).length;
    /** @type {Map<Place, number>} */
    const widths = new Map();
    for (const [key, item] of asked) {
      const [x, y] = this.view.screenOf(/** @type {Place} */ (item.xy[0]));
      const at = /** @type {Place} */ ([x + NAME_AT.x, y + NAME_AT.y]);
      const width = wide(key);
      const covers = taken.some((other) => Math.abs(other[1] - at[1]) < NAME_LINE &&
        at[0] < other[0] + (widths.get(other) ?? 0) && other[0] < at[0] + width);
      if (!covers) {
        taken.push(at);
        widths.set(at, width);
      }
      this.handles.get(`${key}#0`)?.classList.toggle("named", !covers);
    }
  }

  /** @param {string} key */
  nameOf(key) {
    const { side } = fromKey(key);
    const name = this.model.landmarkOf(key)?.name ?? key;
    return side === null ? name : `${name}, ${side}`;
  }

  /** @param {string} key @param {number} index @param {Place} place @param {Set<string>} kept */
  handle(key, index, place, kept) {
    const name = `${key}#${index}`;
    kept.add(name);
    const isActive = key === this.model.target && index === this.model.vertex;
    const element = this.elementFor(name, key, index);
    const side = fromKey(key).side;
    const other = side !== null && side !== this.model.facts.caseSide ? " other" : "";
    element.setAttribute("class", `handle${isActive ? " active" : ""}${other}${this.back(key)}`);
    element.setAttribute("tabindex", "0");
    element.setAttribute("role", "button");
    element.removeAttribute("aria-hidden");
    element.setAttribute("aria-label", this.words(key, index, place));
    element.setAttribute("aria-pressed", String(isActive));
    element.classList.toggle("named", this.namesShown || isActive);
    this.put(element, place);
  }

  /** @param {string} key @param {number} index @param {Place} place */
  words(key, index, [column, row]) {
    const landmark = this.model.landmarkOf(key);
    const clicks = this.model.placed.get(key)?.xy.length ?? 0;
    const which = landmark?.kind === "point" ? "" : `, outline point ${index + 1} of ${clicks}`;
    return `${this.nameOf(key)}${which}: column ${column.toFixed(1)}, row ${row.toFixed(1)}`;
  }

  /** @param {string} name @param {string} key @param {number} index */
  elementFor(name, key, index) {
    const known = this.handles.get(name);
    if (known) return known;
    const landmark = this.model.landmarkOf(key);
    const { side } = fromKey(key);
    const element = drawn("g", { "data-handle": name, class: "handle" });
    element.append(...handleShape(landmark?.kind ?? "point", side, this.model.facts.caseSide));
    if (index === 0 || landmark?.kind === "point") {
      element.append(label(this.nameOf(key), NAME_AT.x, NAME_AT.y, "name"));
    }
    this.handles.set(name, element);
    this.layers["handles"]?.append(element);
    return element;
  }

  /** Of overlapping handles the one whose middle is nearest. @param {Place} at @param {string} under */
  nearest(at, under) {
    const places = [...this.model.placed].flatMap(([key, item]) =>
      item.xy.map((place, index) => ({ name: `${key}#${index}`, at: this.view.screenOf(place) })));
    const far = (/** @type {Place} */ [x, y]) => Math.hypot(x - at[0], y - at[1]);
    const known = places.find((place) => place.name === under);
    if (!known) return under;
    return places.reduce((best, next) => (far(next.at) < far(best.at) ? next : best), known).name;
  }

  /** @param {SVGElement} element @param {Place} place */
  put(element, place) {
    const [x, y] = this.view.screenOf(place);
    element.setAttribute("transform", `translate(${x.toFixed(2)},${y.toFixed(2)})`);
  }

  /** @param {string} key @param {number} index */
  focusHandle(key, index) {
    this.paint();
    this.handles.get(`${key}#${index}`)?.focus({ preventScroll: true });
  }
}

/** @param {string} text @param {number} x @param {number} y @param {string} name */
function label(text, x, y, name) {
  const words = { x, y, class: "under" };
  return drawn("g", { class: `label ${name}` },
    drawn("text", words, text), drawn("text", { ...words, class: "over" }, text));
}

/**
 * What a handle's name says: a vertex, a place for a new one before that vertex, or a line.
 * @param {string} handle
 * @returns {{ key: string, index: number, isNew: boolean, isLine: boolean }}
 */
export function parsedHandle(handle) {
  const isNew = handle.includes("+");
  const isLine = handle.includes("~");
  const [key = "", index = "0"] = handle.split(isNew ? "+" : isLine ? "~" : "#");
  return { key, index: Number(index), isNew, isLine };
}

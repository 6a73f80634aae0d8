// @ts-check
// What keys do. Letters work only while the picture or a handle on it has the focus.

import { onPicture } from "../lib/film-transform.js";
import { parsedHandle } from "./overlay.js";

/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {import("../components/film-view/film-view.js").FilmView} FilmView */
/** @typedef {import("./reading-model.js").ReadingModel} ReadingModel */
/** @typedef {import("./placing.js").Placing} Placing */
/** @typedef {import("./overlay.js").Overlay} Overlay */

/** @type {Record<string, Place>} */
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * @typedef {object} Wishes
 * @property {() => void} help
 * @property {() => void} snapping
 * @property {(words: string) => void} announce
 */

export class Keys {
  /**
   * @param {FilmView} view
   * @param {ReadingModel} model
   * @param {Placing} placing
   * @param {Overlay} overlay
   * @param {Wishes} wishes
   */
  constructor(view, model, placing, overlay, wishes) {
    this.view = view;
    this.model = model;
    this.placing = placing;
    this.overlay = overlay;
    this.wishes = wishes;
    view.addEventListener("keydown", (event) => this.onPicture(event));
    view.addEventListener("focusin", (event) => this.onFocus(event));
    document.addEventListener("keydown", (event) => this.anywhere(event));
  }

  /** A handle that gets the focus by Tab becomes the active one. @param {FocusEvent} event */
  onFocus(event) {
    if (!(event.target instanceof SVGElement) || this.placing.drag) return;
    const { key, index } = parsedHandle(event.target.getAttribute("data-handle") ?? "");
    if (key === "" || (key === this.model.target && index === this.model.vertex)) return;
    this.model.aim(key, { placing: false, vertex: index });
    const place = this.model.placed.get(key)?.xy[index];
    if (place) this.view.bringIn(place);
  }

  /** @param {KeyboardEvent} event */
  anywhere(event) {
    if (!isTyping(event) && event.key === "?") {
      event.preventDefault();
      this.wishes.help();
    }
    if (!(event.ctrlKey || event.metaKey) || isTyping(event)) return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) this.model.undo();
    else if (key === "y" || (key === "z" && event.shiftKey)) this.model.redo();
    else return;
    event.preventDefault();
  }

  /** @param {KeyboardEvent} event */
  onPicture(event) {
    const arrow = ARROWS[event.key];
    if (arrow) {
      event.preventDefault();
      this.arrow(arrow, event);
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const act = this.actions()[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  /** @returns {Record<string, () => void>} */
  actions() {
    const { model, view, placing, wishes } = this;
    return {
      Enter: () => this.enter(),
      Escape: () => model.aim(null),
      Delete: () => model.removeActive(),
      Backspace: () => model.removeActive(),
      Insert: () => this.addVertex(),
      n: () => this.cycle(1),
      p: () => this.cycle(-1),
      g: () => model.advance(),
      k: () => model.skip(),
      "+": () => view.zoom(1.25),
      "=": () => view.zoom(1.25),
      "-": () => view.zoom(0.8),
      "0": () => view.fit(),
      "1": () => view.realSize(),
      i: () => view.invert(),
      e: () => wishes.snapping(),
      m: () => {
        placing.magnifies = !placing.magnifies;
        wishes.announce(placing.magnifies ? "Magnifier on" : "Magnifier off");
        if (!placing.magnifies) view.unmagnify();
      },
      l: () => {
        this.overlay.namesShown = !this.overlay.namesShown;
        this.overlay.redraw();
      },
    };
  }

  /** @param {Place} arrow @param {KeyboardEvent} event */
  arrow([x, y], event) {
    const step = event.ctrlKey || event.metaKey ? 100 : event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    const by = /** @type {Place} */ ([x * step, y * step]);
    const { model, view } = this;
    if (this.placing.isOn) {
      this.placing.nudgeCrosshair(by);
      return;
    }
    const key = model.target;
    const place = key === null ? undefined : model.placed.get(key)?.xy[model.vertex];
    if (key === null || !place || !view.film) {
      view.move((_film, box) => {
        const far = Math.min(box.width, box.height) / 8;
        return { ...view.view, x: view.view.x - x * far, y: view.view.y - y * far };
      });
      return;
    }
    const to = onPicture(view.film, [place[0] + by[0], place[1] + by[1]]);
    model.moveVertex(key, model.vertex, to, `keys ${key}#${model.vertex}`);
    view.bringIn(to);
    this.overlay.focusHandle(key, model.vertex);
  }

  enter() {
    const { model } = this;
    if (this.isOnLastClick()) {
      model.finish();
      return;
    }
    if (this.placing.putAtCrosshair()) {
      this.wishes.announce(model.target === null ? "All landmarks are placed." : "Placed.");
      this.view.focus({ preventScroll: true });
      return;
    }
    if (model.isPlacing) model.finish();
  }

  /** Enter twice on one place finishes an outline, as a double click does. */
  isOnLastClick() {
    const { model } = this;
    const key = model.target;
    const last = key === null ? undefined : model.placed.get(key)?.xy.at(-1);
    const cross = this.overlay.crosshair;
    if (key === null || !last || !cross || !model.isPlacing || this.placing.borrowed) return false;
    return model.landmarkOf(key)?.kind !== "point" && model.isDone(key) && last[0] === cross[0] && last[1] === cross[1];
  }

  addVertex() {
    const { model } = this;
    const key = model.target;
    const item = key === null ? undefined : model.placed.get(key);
    if (key === null || !item || model.landmarkOf(key)?.kind === "point") return;
    const here = item.xy[model.vertex];
    const next = item.xy[model.vertex + 1] ?? item.xy[model.vertex - 1];
    if (!here || !next) return;
    const middle = /** @type {Place} */ ([(here[0] + next[0]) / 2, (here[1] + next[1]) / 2]);
    const before = item.xy[model.vertex + 1] ? model.vertex + 1 : model.vertex;
    model.addVertex(key, before, middle);
    this.overlay.focusHandle(key, before);
  }

  /** @param {1 | -1} by */
  cycle(by) {
    this.model.cycle(by);
    if (this.model.target !== null) this.overlay.focusHandle(this.model.target, this.model.vertex);
  }
}

/** @param {KeyboardEvent} event */
function isTyping(event) {
  return event.target instanceof Element && event.target.closest("input, select, textarea, dialog") !== null;
}

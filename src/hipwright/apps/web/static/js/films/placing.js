// @ts-check
// Pointer and crosshair on the picture become clicks and moves of landmarks.

import { strongestEdge } from "../lib/edge-snap.js";
import { between, onPicture } from "../lib/film-transform.js";
import { parsedHandle } from "./overlay.js";

/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {import("../components/film-view/film-view.js").FilmView} FilmView */
/** @typedef {import("../components/film-view/film-view.js").FilmPress} FilmPress */
/** @typedef {import("./reading-model.js").ReadingModel} ReadingModel */
/** @typedef {import("./overlay.js").Overlay} Overlay */

const SNAP_SCREEN_PX = 12;
const AGAIN_MS = 400;
const AGAIN_PX = 6;

export class Placing {
  /**
   * @param {FilmView} view
   * @param {ReadingModel} model
   * @param {Overlay} overlay
   * @param {(words: string) => void} hint
   */
  constructor(view, model, overlay, hint) {
    this.view = view;
    this.model = model;
    this.overlay = overlay;
    this.hint = hint;
    this.snaps = true;
    this.magnifies = true;
    /** @type {{ key: string, index: number, offset: Place } | null} */
    this.drag = null;
    this.last = { time: 0, at: /** @type {Place} */ ([0, 0]) };
    /** Where a tool other than landmarks wants its clicks. @type {((place: Place) => void) | null} */
    this.borrowed = null;
    model.addEventListener("target", () => this.retarget());
    view.addEventListener("film-ready", () => this.retarget());
    view.addEventListener("film-hover", (event) => this.hover(/** @type {CustomEvent} */ (event).detail));
    view.addEventListener("film-leave", () => this.drag === null && this.lower());
    view.addEventListener("film-press", (event) => this.press(/** @type {CustomEvent} */ (event).detail));
  }

  get isOn() {
    return this.view.isReady && (this.model.isPlacing || this.borrowed !== null);
  }

  retarget() {
    this.view.placing = this.isOn;
    this.view.classList.toggle("placing", this.isOn);
    if (!this.isOn) this.lower();
    this.overlay.redraw();
  }

  /** @param {((place: Place) => void) | null} taker */
  borrow(taker) {
    this.borrowed = taker;
    this.retarget();
  }

  /** Take the crosshair and the glass away. */
  lower() {
    this.overlay.crosshair = null;
    this.view.unmagnify();
    this.overlay.redraw();
    this.hint("");
  }

  /** @param {Place} place @returns {Place} */
  snapped(place) {
    const film = this.view.film;
    if (!film) return place;
    const inside = onPicture(film, place);
    if (!this.snaps || !this.view.pixels) {
      this.hint("");
      return inside;
    }
    const radius = between(SNAP_SCREEN_PX / this.view.view.scale, 2, 24);
    const edge = strongestEdge(this.view.pixels, inside, radius);
    this.hint(edge ? "on an edge" : "");
    return edge ?? inside;
  }

  /** @param {{ place: Place }} detail */
  hover({ place }) {
    if (!this.isOn || this.drag) return;
    this.raise(this.snapped(place), false);
  }

  /** @param {Place} place @param {boolean} touch */
  raise(place, touch) {
    this.overlay.crosshair = place;
    if (this.magnifies) this.view.magnify(place, touch);
    this.overlay.redraw();
  }

  /** @param {FilmPress} press */
  press(press) {
    if (press.handle !== null && this.borrowed === null) this.pressHandle(press, press.handle);
    else this.pressPicture(press);
  }

  /** @param {FilmPress} press @param {string} handle */
  pressHandle(press, handle) {
    const { phase, place, touch, moved } = press;
    const named = parsedHandle(handle);
    // While something else is asked for, a click that happens to hit a handle is meant for the
    // picture below it; only a drag takes hold of the handle.
    const isForeign = this.model.isPlacing && named.key !== this.model.target;
    if (isForeign && this.drag === null) {
      if (phase === "move" && moved) this.grasp(named, place);
      else this.pressPicture(press);
    } else if (phase === "start") this.grasp(named, place);
    if (this.model.isLookedAt) {
      if (phase === "move" && moved) this.model.refuse();
      this.drag = null;
      return;
    }
    const { drag } = this;
    if (!drag) return;
    if (phase === "move" && moved) {
      const wanted = /** @type {Place} */ ([place[0] + drag.offset[0], place[1] + drag.offset[1]]);
      const at = this.snapped(wanted);
      this.model.moveVertex(drag.key, drag.index, at, "drag");
      if (this.magnifies) this.view.magnify(at, touch);
    }
    if (phase === "end" || phase === "cancel") {
      this.drag = null;
      this.model.history.rest();
      this.view.unmagnify();
      this.hint("");
      this.overlay.focusHandle(drag.key, drag.index);
    }
  }

  /** @param {{ key: string, index: number, isNew: boolean, isLine: boolean }} handle @param {Place} place */
  grasp({ key, index, isNew, isLine }, place) {
    if (isLine) {
      this.model.aim(key, { placing: false, vertex: 0 });
      return;
    }
    if (isNew) this.model.addVertex(key, index, place);
    else this.model.aim(key, { placing: false, vertex: index });
    const at = this.model.placed.get(key)?.xy[index];
    if (at) this.drag = { key, index, offset: [at[0] - place[0], at[1] - place[1]] };
    this.model.history.rest();
  }

  /** @param {FilmPress} press */
  pressPicture({ phase, place, touch, at }) {
    if (phase === "cancel") {
      this.lower();
      return;
    }
    const snapped = this.snapped(place);
    this.raise(snapped, touch);
    if (phase !== "end") return;
    if (touch) this.lower();
    if (this.isAgain(at)) this.model.finish();
    else this.put(snapped);
  }

  /** Whether this is the second click of a double click on an outline. @param {Place} at */
  isAgain(at) {
    const now = performance.now();
    const near = Math.hypot(at[0] - this.last.at[0], at[1] - this.last.at[1]) < AGAIN_PX;
    const again = near && now - this.last.time < AGAIN_MS;
    this.last = { time: now, at };
    const kind = this.model.target === null ? null : this.model.landmarkOf(this.model.target)?.kind;
    return again && this.borrowed === null && kind !== "point";
  }

  /** @param {Place} place */
  put(place) {
    if (this.borrowed) this.borrowed(place);
    else this.model.click(place);
  }

  /**
   * Move the crosshair by keys; it starts in the middle of what is seen.
   * @param {Place} by film pixels
   */
  nudgeCrosshair(by) {
    const { film } = this.view;
    if (!film) return;
    const { width, height } = this.view.box;
    const from = this.overlay.crosshair ?? this.view.placeAt([width / 2, height / 2]);
    const place = onPicture(film, [from[0] + by[0], from[1] + by[1]]);
    this.view.bringIn(place);
    this.raise(place, false);
  }

  /** Place where the crosshair is. @returns {boolean} */
  putAtCrosshair() {
    const place = this.overlay.crosshair;
    if (!this.isOn || place === null) return false;
    this.put(place);
    return true;
  }
}

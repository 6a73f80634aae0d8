// @ts-check
// <film-view>: one film, drawn sharply, that can be moved, enlarged and shaded. It tells where
// it was pressed in film pixels and knows nothing of landmarks.
//
// Events: film-ready, film-failed, film-moved, film-shaded, film-press, film-hover, film-leave.

import * as transform from "../../lib/film-transform.js";
import { usualRange } from "../../lib/gray-window.js";
import { CanvasPicture } from "./picture-canvas.js";
import { GlPicture } from "./picture-gl.js";
import { loadPixels } from "./film-loading.js";
import { Gestures } from "./gestures.js";
import { Magnifier } from "./magnifier.js";

/** @typedef {import("../../lib/film-transform.js").Place} Place */
/** @typedef {import("../../lib/film-transform.js").View} View */
/** @typedef {{ columns: number, rows: number, aspect: number, preview: string, pixels: string, name: string }} Film */
/** @typedef {Omit<import("./gestures.js").Press, "at"> & { place: Place, at: Place }} FilmPress */

export class FilmView extends HTMLElement {
  constructor() {
    super();
    /** @type {Film | null} */
    this.film = null;
    /** @type {View} */
    this.view = { scale: 1, x: 0, y: 0 };
    this.gray = { center: 2048, width: 4096 };
    this.sent = this.gray;
    this.usual = { low: 0, high: 4095 };
    this.inverted = false;
    this.placing = false;
    this.isReady = false;
    this.isFitted = true;
    this.size = { width: 0, height: 0 };
    /** @type {import("../../lib/edge-snap.js").Gray | null} */
    this.pixels = null;
    /** @type {GlPicture | CanvasPicture | null} */
    this.picture = null;
    this.wanted = 0;
    this.loading = new AbortController();
    /** Set by whoever draws handles. @type {((at: Place, under: string) => string) | null} */
    this.nearestHandle = null;
  }

  connectedCallback() {
    if (this.canvas) return;
    this.tabIndex = 0;
    this.setAttribute("role", "application");
    this.setAttribute("aria-roledescription", "film");
    this.preview = this.querySelector("img") ?? new Image();
    this.preview.className = "preview";
    this.preview.alt = "";
    this.preview.draggable = false;
    this.canvas = document.createElement("canvas");
    this.canvas.className = "drawn";
    this.notice = document.createElement("p");
    this.notice.className = "loading";
    this.notice.setAttribute("role", "status");
    this.append(this.preview, this.canvas, this.notice);
    this.magnifier = new Magnifier(this);
    new Gestures(this, {
      nearest: (at, under) => this.nearestHandle?.(at, under) ?? under,
      placing: () => this.placing && this.isReady,
      pan: (by) => this.move((film, box) => transform.shifted(this.view, film, box, by)),
      zoom: (factor, at) => this.zoom(factor, at),
      regray: ([x, y]) => this.regray(x, y),
      press: ({ at, ...press }) => this.tell("film-press", { ...press, at, place: this.placeAt(at) }),
      hover: (at) => this.tell("film-hover", { at, place: this.placeAt(at) }),
      leave: () => this.tell("film-leave", {}),
    });
    new ResizeObserver(() => this.resized()).observe(this);
  }

  /** @param {Film} film */
  async show(film) {
    this.loading.abort();
    this.loading = new AbortController();
    this.film = film;
    this.isReady = false;
    this.setAttribute("aria-label", film.name);
    this.resized();
    this.fit();
    if (this.preview) {
      this.preview.hidden = false;
      if (this.preview.getAttribute("src") !== film.preview) this.preview.src = film.preview;
    }
    this.say("Loading the picture");
    this.picture = this.makePicture();
    try {
      const tell = (/** @type {number} */ share) =>
        this.say(`Loading the picture, ${Math.round(100 * share)} %`);
      const loaded = await loadPixels(film.pixels, tell, this.loading.signal);
      this.start(film, loaded);
    } catch (error) {
      if (this.loading.signal.aborted) return;
      this.say("");
      this.tell("film-failed", { message: error instanceof Error ? error.message : String(error) });
    }
  }

  /**
   * @param {Film} film
   * @param {import("./film-loading.js").Pixels} loaded
   */
  start(film, loaded) {
    this.pixels = loaded;
    this.gray = this.sent = loaded.window;
    this.usual = usualRange(loaded.values);
    this.picture = this.makePicture();
    this.picture.load(loaded.values, film);
    this.isReady = true;
    this.say("");
    this.paint();
    if (this.preview) this.preview.hidden = true;
    this.classList.add("ready");
    this.tell("film-ready", { reduced: this.picture.reduced, plain: this.picture instanceof CanvasPicture });
  }

  makePicture() {
    if (this.picture) return this.picture;
    const canvas = /** @type {HTMLCanvasElement} */ (this.canvas);
    if (this.dataset["plain"] === undefined) {
      try {
        const made = new GlPicture(canvas);
        canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
        canvas.addEventListener("webglcontextrestored", () => this.restored());
        return made;
      } catch {
        // No WebGL2 here: the picture is drawn in 8 bits instead.
      }
    }
    return new CanvasPicture(canvas);
  }

  restored() {
    if (!this.film || !this.pixels || !this.canvas) return;
    this.picture = new GlPicture(this.canvas);
    this.picture.load(/** @type {Uint16Array} */ (this.pixels.values), this.film);
    this.redraw();
  }

  get box() {
    return { width: this.clientWidth, height: this.clientHeight };
  }

  /** @param {Place} at */
  placeAt(at) {
    return this.film ? transform.toFilm(this.view, this.film, at) : at;
  }

  /** @param {Place} place */
  screenOf(place) {
    return this.film ? transform.toScreen(this.view, this.film, place) : place;
  }

  /** @param {(film: Film, box: transform.Box) => View} how */
  move(how) {
    if (!this.film) return;
    this.isFitted = false;
    this.setView(how(this.film, this.box));
  }

  /** @param {View} view */
  setView(view) {
    this.view = view;
    this.redraw();
    this.tell("film-moved", { view });
  }

  /** @param {number} factor @param {Place} [at] */
  zoom(factor, at) {
    const { width, height } = this.box;
    this.move((film, box) => transform.zoomed(this.view, film, box, factor, at ?? [width / 2, height / 2]));
  }

  fit() {
    this.move((film, box) => transform.fitted(film, box));
    this.isFitted = true;
  }

  /** One film pixel on one pixel of the screen. */
  realSize() {
    const scale = 1 / (globalThis.devicePixelRatio || 1);
    const { width, height } = this.box;
    this.zoom(scale / this.view.scale, [width / 2, height / 2]);
  }

  /** @param {Place} place */
  bringIn(place) {
    this.move((film, box) => transform.showing(this.view, film, box, place));
  }

  /** @param {{ center: number, width: number }} gray */
  shade(gray) {
    this.gray = gray;
    this.redraw();
    this.tell("film-shaded", {});
  }

  /** @param {number} right @param {number} down */
  regray(right, down) {
    const unit = (this.usual.high - this.usual.low) / 400;
    const width = Math.max(1, this.gray.width + right * unit);
    this.shade({ center: this.gray.center + down * unit, width });
  }

  invert() {
    this.inverted = !this.inverted;
    this.redraw();
    this.tell("film-shaded", {});
  }

  resized() {
    if (!this.canvas || !this.clientWidth) return;
    const ratio = globalThis.devicePixelRatio || 1;
    const before = this.size;
    this.size = this.box;
    this.canvas.width = Math.round(this.clientWidth * ratio);
    this.canvas.height = Math.round(this.clientHeight * ratio);
    if (this.isFitted) this.fit();
    else {
      // What was in the middle stays there.
      const { scale, x, y } = this.view;
      const right = (this.size.width - before.width) / 2;
      this.setView({ scale, x: x + right, y: y + (this.size.height - before.height) / 2 });
    }
    if (this.isReady) this.paint();
  }

  redraw() {
    if (this.wanted) return;
    this.wanted = requestAnimationFrame(() => this.paint());
  }

  paint() {
    cancelAnimationFrame(this.wanted);
    this.wanted = 0;
    if (!this.film) return;
    if (this.preview && !this.preview.hidden) {
      const { scale, x, y } = this.view;
      this.preview.style.width = `${this.film.columns * scale}px`;
      this.preview.style.height = `${this.film.rows * scale * this.film.aspect}px`;
      this.preview.style.transform = `translate(${x}px, ${y}px)`;
    }
    if (this.isReady) this.picture?.draw(this.view, this.gray, this.inverted);
  }

  /**
   * @param {Place} place
   * @param {boolean} touch
   */
  magnify(place, touch) {
    if (!this.film || !this.pixels) return;
    this.magnifier?.show({
      gray: this.pixels,
      aspect: this.film.aspect,
      place,
      cursor: this.screenOf(place),
      enlarged: Math.max(6, Math.min(2.5 * this.view.scale, 24)),
      window: this.gray,
      inverted: this.inverted,
      touch,
    });
  }

  unmagnify() {
    this.magnifier?.hide();
  }

  /** @param {string} words */
  say(words) {
    if (this.notice && this.notice.textContent !== words) this.notice.textContent = words;
  }

  /** @param {string} name @param {object} detail */
  tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}

export function registerFilmView() {
  if (!customElements.get("film-view")) customElements.define("film-view", FilmView);
}

// @ts-check
// <bone-view>: bones in space that can be turned, painted, hidden and cut. It draws and tells
// along which ray somebody pointed; it knows nothing of anatomy.
//
// Events: bones-drawn, bones-failed (detail: words), bones-looked, bones-press (detail: ray),
// landmark-drag (detail: { key, phase, ray }).

import { STANDARD_VIEWS, between, fitted, fittedBox, panned, towardEye, turned, zoomed } from "../../lib/orbit.js";
import { readMesh } from "../../lib/bone-mesh.js";
import { BoneOverlay } from "./bone-overlay.js";
import { BoneScene } from "./bone-scene.js";
import { HandleDrag } from "./handle-drag.js";
import { Turning } from "./turning.js";

/** @typedef {import("../../lib/orbit.js").Orbit} Orbit */
/** @typedef {import("../../lib/orbit.js").Vector} Vector */
/** @typedef {{ origin: Vector, direction: Vector }} Ray */
/** @typedef {{ id: string, words: string, address: string, color: string, ghost?: boolean }} BoneSource */

const DEGREES_PER_PX = 0.35;
const TURN_MS = 320;
const LARGEST_DENSITY = 2;
const REST_MS = 120; // this long after the last drawing it is settled what bone hides

export class BoneView extends HTMLElement {
  constructor() {
    super();
    /** @type {Orbit} */
    this.orbit = { yaw: 0, pitch: 0, distance: 900, target: [0, 0, 0] };
    /** @type {BoneScene | null} */
    this.scene = null;
    this.overlay = new BoneOverlay(this);
    this.canvas = document.createElement("canvas");
    this.asked = false;
    this.isDrawn = false;
    this.going = 0;
    this.narrow = 0;
    this.resting = 0;
    this.stop = new AbortController();
  }

  connectedCallback() {
    const { signal } = this.stop;
    this.tabIndex = 0;
    this.setAttribute("role", "application");
    this.setAttribute("aria-roledescription", "bones in space");
    this.prepend(this.canvas);
    try {
      this.scene = new BoneScene(this.canvas);
    } catch {
      this.tell("bones-failed", "This browser cannot draw in space (WebGL 2). The numbers, the clock face and the tables work without it.");
      return;
    }
    this.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.tell("bones-failed", "The graphics of this machine have let go of the picture. It comes back by itself, or reload the page.");
    }, { signal });
    this.canvas.addEventListener("webglcontextrestored", () => {
      this.isDrawn = false;
      this.redraw();
    }, { signal });
    new Turning(this, {
      turn: ([x, y]) => this.look(turned(whole(this.orbit), -x * DEGREES_PER_PX, y * DEGREES_PER_PX)),
      pan: (by) => this.look(panned(this.orbit, by, this.clientHeight)),
      zoom: (factor) => this.look(zoomed(this.orbit, factor)),
      press: (at) => this.tell("bones-press", this.scene?.ray(at)),
      look: (view) => this.lookFrom(view),
      fit: () => this.fit(),
    }, signal);
    new HandleDrag(this, (detail) => this.tell("landmark-drag", detail), signal);
    const watcher = new ResizeObserver(() => this.resize());
    watcher.observe(this);
    signal.addEventListener("abort", () => watcher.disconnect());
    this.resize();
  }

  disconnectedCallback() {
    this.stop.abort();
    clearTimeout(this.resting);
    this.scene?.dispose();
    this.scene = null;
  }

  /** Fetch and show bones; those that are there stay. @param {readonly BoneSource[]} bones */
  async load(bones) {
    await Promise.all(bones.map(async (bone) => {
      const answer = await fetch(bone.address);
      if (!answer.ok) throw new Error(`the ${bone.words} did not come (${answer.status})`);
      const mesh = readMesh(await answer.arrayBuffer());
      this.scene?.add(bone.id, mesh, { color: bone.color, ...(bone.ghost ? { ghost: true } : {}) });
    }));
    this.redraw();
  }

  /** @param {string} id */
  drop(id) {
    this.scene?.remove(id);
    this.redraw();
  }

  /** @param {string} id @param {Uint8Array | null} values */
  paintBone(id, values) {
    this.scene?.paint(id, values);
    this.redraw();
  }

  /** @param {string} id @param {boolean} shown */
  show(id, shown) {
    this.scene?.show(id, shown);
    this.redraw();
  }

  /** @param {string} id @param {number} opacity */
  seeThrough(id, opacity) {
    this.scene?.seeThrough(id, opacity);
    this.redraw();
  }

  /** Cut away what is nearest to the eye. @param {number} share of the depth of what is shown; 0 cuts nothing */
  cutAway(share) {
    if (!this.scene) return;
    const { low, high } = this.scene.box();
    const center = [0, 1, 2].map((k) => ((low[k] ?? 0) + (high[k] ?? 0)) / 2);
    const radius = Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]) / 2;
    const [a, b] = [(this.orbit.yaw * Math.PI) / 180, (this.orbit.pitch * Math.PI) / 180];
    const back = [Math.sin(a) * Math.cos(b), -Math.cos(a) * Math.cos(b), Math.sin(b)];
    const middle = back.reduce((sum, x, k) => sum + x * (center[k] ?? 0), 0);
    const far = share === 0 ? 1e9 : middle + radius * (1 - 2 * share);
    this.scene.cut([back[0] ?? 0, back[1] ?? 0, back[2] ?? 0, far]);
    this.redraw();
  }

  /** @param {import("./bone-overlay.js").Construction | null} construction */
  draw(construction) {
    this.overlay.construction = construction;
    this.redraw();
  }

  /** @param {readonly import("./bone-overlay.js").Landmark[]} landmarks */
  setLandmarks(landmarks) {
    this.overlay.setLandmarks(landmarks);
    this.redraw();
  }

  /** @param {string} key @param {Vector} at */
  moveLandmark(key, at) {
    this.overlay.moveLandmark(key, at);
    this.redraw();
  }

  /** @param {Orbit} orbit */
  look(orbit) {
    this.going += 1;
    this.orbit = orbit;
    this.redraw();
    this.tell("bones-looked", orbit);
  }

  /** @param {string} view id of a standard view */
  lookFrom(view) {
    const wanted = STANDARD_VIEWS.find((one) => one.id === view);
    if (wanted) this.goTo({ ...whole(this.orbit), yaw: wanted.yaw, pitch: wanted.pitch });
  }

  /**
   * Turn and come near, so that some places are seen well.
   * @param {readonly Vector[]} places
   * @param {Vector | null} back where the eye is to be, seen from them
   * @param {number} [front] leave out what lies further than this before them, mm
   */
  lookAt(places, back, front) {
    if (places.length === 0) return;
    const middle = /** @type {Vector} */ ([0, 1, 2].map((k) => {
      const along = places.map((place) => place[k] ?? 0);
      return (Math.min(...along) + Math.max(...along)) / 2;
    }));
    const radius = Math.max(45, ...places.map((p) => Math.hypot(p[0] - middle[0], p[1] - middle[1], p[2] - middle[2])));
    const from = back ? { ...whole(this.orbit), ...towardEye(back) } : whole(this.orbit);
    const near = fitted(from, middle, 1.25 * radius, this.aspect);
    this.goTo(front === undefined ? near : { ...near, front });
  }

  /** Come near a place. @param {Vector} place @param {number} radius mm around it */
  lookAround(place, radius) {
    this.goTo(fitted(whole(this.orbit), place, radius, this.aspect));
  }

  /** Show all of it, or the bones that are meant. @param {(id: string) => boolean} [wanted] */
  fit(wanted) {
    if (!this.scene) return;
    const { low, high } = this.scene.box(wanted);
    this.goTo(fittedBox(whole(this.orbit), low, high, this.aspect));
  }

  get aspect() {
    return this.clientWidth / Math.max(1, this.clientHeight);
  }

  /** @param {Orbit} orbit */
  goTo(orbit) {
    const from = this.orbit;
    if (!this.isDrawn || window.matchMedia("(prefers-reduced-motion: reduce)").matches) {
      this.look(orbit);
      return;
    }
    const started = performance.now();
    this.going += 1;
    const mine = this.going;
    const step = (/** @type {number} */ now) => {
      if (this.going !== mine || !this.scene) return;
      const share = Math.min(1, (now - started) / TURN_MS);
      this.orbit = share < 1 ? between(from, orbit, share) : orbit;
      this.tell("bones-looked", this.orbit);
      this.drawNow();
      if (share < 1) requestAnimationFrame(step);
    };
    requestAnimationFrame(step);
  }

  resize() {
    const before = this.narrow;
    this.narrow = Math.min(1, this.aspect);
    if (before) this.orbit = { ...this.orbit, distance: (this.orbit.distance * before) / this.narrow };
    const density = Math.min(LARGEST_DENSITY, window.devicePixelRatio || 1);
    this.scene?.resize(this.clientWidth, this.clientHeight, density);
    this.redraw();
  }

  redraw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.drawNow();
    });
  }

  drawNow() {
    const scene = this.scene;
    if (!scene || scene.renderer.getContext().isContextLost()) return;
    scene.lookFrom(this.orbit);
    scene.draw();
    this.overlay.paint((place) => scene.project(place), scene.size.width, scene.size.height);
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.overlay.fade((places) => this.scene?.areBehind(places) ?? []), REST_MS);
    if (this.isDrawn || scene.bones.size === 0) return;
    this.isDrawn = true;
    this.tell("bones-drawn", null);
  }

  /** @param {string} name @param {unknown} detail */
  tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
  }
}

/** The same view with nothing left out in front. @param {Orbit} orbit @returns {Orbit} */
function whole({ yaw, pitch, distance, target }) {
  return { yaw, pitch, distance, target };
}

export function registerBoneView() {
  if (!customElements.get("bone-view")) customElements.define("bone-view", BoneView);
}

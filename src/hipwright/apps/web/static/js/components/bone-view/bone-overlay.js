// @ts-check
// What lies over the bones: lines of a construction with their names, and handles of landmarks.

import { drawn, made } from "../../lib/elements.js";

/** @typedef {import("../../lib/orbit.js").Vector} Vector */
/** @typedef {{ name: string, points: Vector[], dashed: boolean }} Line */
/** @typedef {{ name: string, at: Vector }} Spot */
/** @typedef {{ lines: Line[], points: Spot[], label: string }} Construction */
/** @typedef {{ key: string, name: string, at: Vector, moved: boolean, movable: boolean }} Landmark */
/** @typedef {(place: Vector) => [number, number, number]} Project */

const LABEL_AWAY_PX = 12;
const LINE_PX = 15;
const EDGE_PX = 6;

export class BoneOverlay {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.svg = drawn("svg", { class: "overlay", "aria-hidden": "true" });
    this.handles = made("div", { class: "handles" });
    host.append(this.svg, this.handles);
    /** @type {Construction | null} */
    this.construction = null;
    /** @type {Map<string, { landmark: Landmark, button: HTMLButtonElement }>} */
    this.landmarks = new Map();
  }

  /** @param {readonly Landmark[]} landmarks */
  setLandmarks(landmarks) {
    const wanted = new Set(landmarks.map((one) => one.key));
    for (const [key, { button }] of this.landmarks) {
      if (wanted.has(key)) continue;
      button.remove();
      this.landmarks.delete(key);
    }
    for (const landmark of landmarks) {
      const before = this.landmarks.get(landmark.key);
      const button = before?.button ?? this.handle(landmark);
      const behind = button.classList.contains("behind") ? " behind" : "";
      button.className = `handle${behind}${landmark.moved ? " moved" : ""}${landmark.movable ? "" : " fixed"}`;
      button.setAttribute("aria-label", `${landmark.name}${landmark.moved ? ", moved" : ""}${landmark.movable ? "" : ", found by the program"}`);
      this.landmarks.set(landmark.key, { landmark, button });
    }
  }

  /** @param {Landmark} landmark */
  handle(landmark) {
    const button = made("button", { type: "button", "data-handle": landmark.key }, made("span", { class: "handle-name" }, landmark.name));
    this.handles.append(button);
    return button;
  }

  /** @param {string} key @param {Vector} at */
  moveLandmark(key, at) {
    const one = this.landmarks.get(key);
    if (one) one.landmark = { ...one.landmark, at };
  }

  /** Fade the handles that lie behind bone. @param {(places: readonly Vector[]) => boolean[]} areBehind */
  fade(areBehind) {
    const shown = [...this.landmarks.values()].filter(({ button }) => !button.hidden);
    const behind = areBehind(shown.map(({ landmark }) => landmark.at));
    shown.forEach(({ button }, n) => button.classList.toggle("behind", behind[n]));
  }

  /** @param {Project} project @param {number} width @param {number} height */
  paint(project, width, height) {
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    for (const { landmark, button } of this.landmarks.values()) {
      const [x, y, depth] = project(landmark.at);
      const inside = depth < 1 && x >= 0 && y >= 0 && x <= width && y <= height;
      button.hidden = !inside;
      if (inside) button.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)`;
    }
    this.svg.replaceChildren(...(this.construction ? this.shapes(this.construction, project, width, height) : []));
  }

  /** @param {Construction} construction @param {Project} project @param {number} width @param {number} height */
  shapes({ lines, points, label }, project, width, height) {
    /** @type {SVGElement[]} */
    const under = [];
    /** @type {SVGElement[]} */
    const over = [];
    /** @type {[number, number, number, number][]} */
    const taken = [];
    /** @param {string} text @param {number} x @param {number} y @param {string} kind */
    const write = (text, x, y, kind) => {
      if (!text) return;
      const wide = 7.2 * text.length;
      const beside = x + LABEL_AWAY_PX + wide > width ? x - LABEL_AWAY_PX - wide : x + LABEL_AWAY_PX;
      const left = Math.max(EDGE_PX, Math.min(width - wide - EDGE_PX, beside));
      let top = Math.max(LINE_PX, Math.min(height - 6, y));
      const crossed = () => taken.some(([l, t, w]) => left < l + w && l < left + wide && Math.abs(t - top) < LINE_PX);
      for (let tries = 0; tries < 12 && crossed(); tries += 1) top += LINE_PX;
      taken.push([left, top, wide, LINE_PX]);
      over.push(drawn("text", { class: kind, x: left.toFixed(1), y: top.toFixed(1) }, text));
    };
    for (const { points: path, dashed } of lines) {
      const d = path.map((place, n) => {
        const [x, y] = project(place);
        return `${n === 0 ? "M" : "L"}${x.toFixed(1)} ${y.toFixed(1)}`;
      }).join("");
      under.push(drawn("path", { class: `halo${dashed ? " helps" : ""}`, d }));
      over.push(drawn("path", { class: dashed ? "line helps" : "line", d }));
    }
    const arc = lines.find((line) => line.name === "angle")?.points;
    if (label) {
      const first = arc?.[Math.floor(arc.length / 2)] ?? points[0]?.at ?? lines[0]?.points[0];
      if (first) write(label, ...flat(project(first)), "label value");
    }
    for (const { name, at } of points) {
      const [x, y] = project(at);
      over.push(drawn("circle", { class: "spot", cx: x.toFixed(1), cy: y.toFixed(1), r: 3.6 }));
      write(name, x, y + 4, "label");
    }
    for (const { name, points: path, dashed } of lines) {
      const end = path[path.length - 1];
      if (name && end && path !== arc) write(name, ...flat(project(end)), dashed ? "label helps" : "label");
    }
    return [...under, ...over];
  }
}

/** @param {[number, number, number]} place @returns {[number, number]} */
function flat([x, y]) {
  return [x, y];
}

// @ts-check
// Choosing what is painted on the bones, and its legend in words and numbers.

import { STOPS } from "../lib/color-ramp.js";
import { drawn, made, part } from "../lib/elements.js";

/** @typedef {import("./facts.js").Legend} Legend */
/** @typedef {import("../components/bone-view/bone-view.js").BoneView} BoneView */

export class Painting {
  /**
   * @param {HTMLElement} screen
   * @param {BoneView} view
   * @param {readonly string[]} pieces
   * @param {(words: string) => void} say
   */
  constructor(screen, view, pieces, say) {
    this.view = view;
    this.pieces = pieces;
    this.say = say;
    this.choice = part("[data-paint]", HTMLSelectElement, screen);
    this.legend = part("[data-legend]", HTMLElement, screen);
    /** @type {readonly Legend[]} */
    this.maps = [];
    this.asked = 0;
    this.choice.addEventListener("change", () => this.paint());
  }

  /** @param {readonly Legend[]} maps */
  offer(maps) {
    this.maps = maps;
    const before = this.choice.value;
    this.choice.replaceChildren(
      made("option", { value: "" }, "bare bone"),
      ...maps.map((map) => made("option", { value: map.id }, map.name)),
    );
    this.choice.disabled = maps.length === 0;
    this.choice.value = maps.some((map) => map.id === before) ? before : "";
    return this.paint();
  }

  async paint() {
    const map = this.maps.find((one) => one.id === this.choice.value) ?? null;
    this.asked += 1;
    const mine = this.asked;
    this.showLegend(map);
    const values = await Promise.all(this.pieces.map((piece) => this.valuesOf(map, piece)));
    if (mine !== this.asked) return;
    this.pieces.forEach((piece, n) => this.view.paintBone(piece, values[n] ?? null));
    if (map) this.say(`${map.name}: ${map.low}; ${map.high}`);
  }

  /** @param {Legend | null} map @param {string} piece */
  async valuesOf(map, piece) {
    const address = map?.addresses[piece];
    if (!address) return null;
    const answer = await fetch(address);
    return answer.ok ? new Uint8Array(await answer.arrayBuffer()) : null;
  }

  /** @param {Legend | null} map */
  showLegend(map) {
    this.legend.hidden = map === null;
    if (!map) return;
    if (map.ticks.length === 0) {
      const [low, high] = [STOPS[0], STOPS.at(-1)];
      this.legend.replaceChildren(
        made("h2", {}, map.name),
        ...[[high, map.high], [low, map.low]].map(([color, words]) => made("p", { class: "one-class" },
          drawn("svg", { class: "swatch", viewBox: "0 0 12 12", "aria-hidden": "true" }, drawn("rect", { width: 12, height: 12, rx: 2, fill: color ?? "" })),
          made("span", {}, words ?? ""))),
        made("p", { class: "about-map" }, map.about),
      );
      return;
    }
    const ramp = drawn("svg", { class: "ramp", viewBox: "0 0 240 26", role: "img", "aria-label": `${map.name}, from ${map.ticks[0]?.text} to ${map.ticks.at(-1)?.text}` });
    const stops = STOPS.map((color, n) => drawn("stop", { offset: n / (STOPS.length - 1), "stop-color": color }));
    ramp.append(
      drawn("defs", {}, drawn("linearGradient", { id: "bone-ramp" }, ...stops)),
      drawn("rect", { x: 0, y: 0, width: 240, height: 10, rx: 2, fill: "url(#bone-ramp)" }),
      ...map.ticks.map(({ share, text }, n) => drawn("text", {
        x: 240 * share, y: 23, "text-anchor": n === 0 ? "start" : n === map.ticks.length - 1 ? "end" : "middle",
      }, text)),
    );
    this.legend.replaceChildren(
      made("h2", {}, map.name),
      ramp,
      made("p", {}, made("span", {}, `◀ ${map.low}`), made("span", { class: "high" }, `${map.high} ▶`)),
      made("p", { class: "about-map" }, map.about),
    );
  }
}

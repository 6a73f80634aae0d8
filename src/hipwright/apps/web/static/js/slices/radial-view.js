// @ts-check
// Planes around the axis of a neck, one at a time, with the hour that is up; a strip of all.
//
// Events: "changed" (another plane), "opened", "closed".

import { Refused } from "../lib/sending.js";
import { made, part } from "../lib/elements.js";
import { HOURS, hourWords } from "../lib/hours.js";
import { shaded } from "../lib/shaded-slice.js";
import { SliceView } from "../components/slice-view/slice-view.js";

/** @typedef {import("./facts.js").Axis} Axis */
/** @typedef {import("../components/slice-view/slice-view.js").Shading} Shading */

const THUMB = 58;

export class RadialView extends EventTarget {
  /**
   * @param {HTMLElement} screen
   * @param {string} image
   * @param {(words: string) => void} say
   */
  constructor(screen, image, say) {
    super();
    this.image = image;
    this.say = say;
    this.figure = part("[data-figure=radial]", HTMLElement, screen);
    this.view = part("slice-view", SliceView, this.figure);
    this.hour = part("[data-hour]", HTMLElement, this.figure);
    this.opposite = part("[data-opposite]", HTMLElement, this.figure);
    this.strip = part("[data-strip]", HTMLElement, screen);
    this.slider = part("[data-slider]", HTMLInputElement, this.figure);
    this.number = part("[data-planes]", HTMLSelectElement, screen);
    /** @type {Axis | null} */
    this.axis = null;
    /** @type {{ values: Int16Array, codes: Uint8Array }[]} */
    this.planes = [];
    this.index = 0;
    this.side = 0;
    this.stepMm = 1;
    this.isOpen = false;
    this.asked = 0;
    /** @type {Shading | null} */
    this.shading = null;
    this.slider.addEventListener("input", () => this.goTo(Number(this.slider.value)));
    this.view.addEventListener("slice-scroll", (event) => this.goTo(this.index + /** @type {CustomEvent} */ (event).detail.by));
    this.view.tool = "move";
    this.number.addEventListener("input", () => {
      if (this.axis && this.isOpen) this.open(this.axis);
    });
    this.strip.addEventListener("click", (event) => {
      const button = event.target instanceof Element ? event.target.closest("[data-plane]") : null;
      if (button) this.goTo(Number(button.getAttribute("data-plane")));
    });
  }

  get count() {
    return Number(this.number.value);
  }

  /** The hour that is up in a plane. @param {number} index */
  hourOf(index) {
    return ((index * HOURS) / 2 / this.planes.length) || HOURS;
  }

  /**
   * @param {Axis} axis
   * @param {number} [block]
   */
  async open(axis, block = 0) {
    this.axis = axis;
    this.asked += 1;
    const { asked, count } = this;
    const address = `/slices/${this.image}/radial/${block}?head=${axis.head.join(",")}&neck=${axis.neck.join(",")}&planes=${count}`;
    try {
      const answer = await fetch(address);
      if (!answer.ok) throw new Refused(answer.status, await answer.json().catch(() => null));
      const bytes = await answer.arrayBuffer();
      if (asked !== this.asked) return;
      this.take(bytes, Number(answer.headers.get("Radial-Side")), Number(answer.headers.get("Radial-Step")), count);
    } catch (error) {
      this.say(error instanceof Refused ? error.message : "hipwright does not answer. Is it still running?");
    }
  }

  /**
   * @param {ArrayBuffer} bytes
   * @param {number} side
   * @param {number} stepMm
   * @param {number} count
   */
  take(bytes, side, stepMm, count) {
    const size = side * side;
    this.planes = Array.from({ length: count }, (_, k) => ({
      values: new Int16Array(bytes, 2 * size * k, size),
      codes: new Uint8Array(bytes, 2 * size * count + size * k, size),
    }));
    this.side = side;
    this.stepMm = stepMm;
    this.isOpen = true;
    this.figure.hidden = false;
    this.strip.hidden = false;
    this.slider.max = String(count - 1);
    this.view.start({ columns: side, rows: side, aspect: 1, columnMm: stepMm }, { left: "R", right: "L", top: "", bottom: "" });
    this.dispatchEvent(new CustomEvent("opened"));
    this.fillStrip();
    this.goTo(Math.min(this.index, count - 1));
  }

  close() {
    this.isOpen = false;
    this.asked += 1;
    this.figure.hidden = true;
    this.strip.hidden = true;
    this.dispatchEvent(new CustomEvent("closed"));
  }

  /** Past half the clock it goes on from the start: the same planes, turned over. @param {number} wanted */
  goTo(wanted) {
    const { length } = this.planes;
    if (length === 0) return;
    this.index = ((wanted % length) + length) % length;
    const plane = this.planes[this.index];
    if (!plane) return;
    const hour = this.hourOf(this.index);
    this.hour.textContent = hourWords(hour);
    this.opposite.textContent = hourWords(hour + HOURS / 2);
    this.view.name({ left: "R", right: "L", top: hourWords(hour), bottom: hourWords(hour + HOURS / 2) });
    this.slider.value = String(this.index);
    this.slider.setAttribute("aria-valuetext", `${hourWords(hour)} up, ${hourWords(hour + HOURS / 2)} down`);
    const middle = (this.side - 1) / 2;
    this.view.cursor = [middle, middle];
    this.view.setAttribute("aria-label", `Plane around the neck, ${hourWords(hour)} up`);
    this.view.show(plane.values, plane.codes, this.index);
    for (const button of this.strip.querySelectorAll("[data-plane]")) {
      button.setAttribute("aria-pressed", String(Number(button.getAttribute("data-plane")) === this.index));
    }
    this.dispatchEvent(new CustomEvent("changed", { detail: hour }));
  }

  /** @param {Shading} shading */
  shade(shading) {
    this.shading = shading;
    this.view.shading = shading;
    this.view.redraw();
    if (this.isOpen) this.fillStrip();
  }

  fillStrip() {
    const { shading, side } = this;
    if (!shading) return;
    const step = Math.max(1, Math.floor(side / THUMB));
    const small = Math.floor(side / step);
    const buttons = this.planes.map(({ values, codes }, k) => {
      const canvas = made("canvas", { width: String(small), height: String(small) });
      const target = canvas.getContext("2d");
      if (target) {
        const thinned = new Int16Array(small * small);
        const under = new Uint8Array(small * small);
        for (let row = 0; row < small; row += 1) {
          for (let column = 0; column < small; column += 1) {
            const from = row * step * side + column * step;
            thinned[row * small + column] = Number(values[from]);
            under[row * small + column] = Number(codes[from]);
          }
        }
        const image = target.createImageData(small, small);
        shaded(image.data, thinned, under, small, shading);
        target.putImageData(image, 0, 0);
      }
      const words = hourWords(this.hourOf(k));
      return made("button", { type: "button", "data-plane": String(k), "aria-pressed": String(k === this.index), "aria-label": `${words} up` }, canvas, made("span", { class: "figures" }, words));
    });
    this.strip.replaceChildren(...buttons);
  }
}

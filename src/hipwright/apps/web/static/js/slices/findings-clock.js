// @ts-check
// The clock face of the findings: what was found, as arcs, and the one that is being entered,
// which can be dragged from hour to hour. The fields beside it say and take the same.

import { drawn } from "../lib/elements.js";
import { arcPath, halfHourAt, hourWords, spotOf } from "../lib/hours.js";

/** @typedef {{ from: number, to: number, name: string, value: string }} Arc */

const OUTER = 92;
const RINGS = { inner: 64, outer: 74 };
const OWN = { inner: 76, outer: 88 };

export class FindingsClock {
  /**
   * @param {HTMLElement} host
   * @param {boolean} mirrored
   */
  constructor(host, mirrored) {
    this.host = host;
    this.mirrored = mirrored;
    /** @type {number | null} an hour that is up in the planes around the neck */
    this.hour = null;
    /** @type {{ from: HTMLSelectElement, to: HTMLSelectElement } | null} */
    this.fields = null;
    this.isDragging = false;
    host.addEventListener("input", () => this.paint());
    host.addEventListener("toggle", (event) => this.opened(event), true);
    host.addEventListener("focusin", (event) => this.focused(event));
    host.addEventListener("pointerdown", (event) => this.press(event));
    host.addEventListener("pointermove", (event) => this.drag(event));
    host.addEventListener("pointerup", () => {
      this.isDragging = false;
    });
    host.addEventListener("htmx:afterSettle", () => this.adopt());
    this.adopt();
  }

  /** The part of the page has been made anew. */
  adopt() {
    this.fields = this.fieldsOf(this.host.querySelector("details[open] form"));
    this.paint();
  }

  /** @param {Event} event */
  opened(event) {
    const { target } = event;
    if (!(target instanceof HTMLDetailsElement) || !target.matches("[data-finding]")) return;
    if (target.open) {
      for (const other of this.host.querySelectorAll("details[data-finding][open]")) {
        if (other !== target) other.removeAttribute("open");
      }
    }
    this.fields = this.fieldsOf(this.host.querySelector("details[data-finding][open] form"));
    this.paint();
  }

  /** @param {FocusEvent} event */
  focused(event) {
    const span = event.target instanceof Element ? event.target.closest("[data-span]") : null;
    if (!span) return;
    this.fields = this.fieldsOf(span);
    this.paint();
  }

  /** @param {Element | null} within */
  fieldsOf(within) {
    const from = within?.querySelector("[data-hour-from]");
    const to = within?.querySelector("[data-hour-to]");
    return from instanceof HTMLSelectElement && to instanceof HTMLSelectElement ? { from, to } : null;
  }

  /** @param {PointerEvent} event */
  press(event) {
    const face = event.target instanceof Element ? event.target.closest("svg[data-face]") : null;
    if (!face || !this.fields) return;
    event.preventDefault();
    face.setPointerCapture(event.pointerId);
    this.isDragging = true;
    const hour = this.hourAt(face, event);
    this.fields.from.value = String(hour);
    this.fields.to.value = String(hour);
    this.paint();
  }

  /** @param {PointerEvent} event */
  drag(event) {
    const face = this.host.querySelector("svg[data-face]");
    if (!this.isDragging || !face || !this.fields) return;
    this.fields.to.value = String(this.hourAt(face, event));
    this.paint();
  }

  /** @param {Element} face @param {PointerEvent} event */
  hourAt(face, event) {
    const box = face.getBoundingClientRect();
    return halfHourAt(event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2, this.mirrored);
  }

  /** @returns {Arc[]} */
  get arcs() {
    const holder = this.host.querySelector("[data-arcs]");
    return JSON.parse(holder?.getAttribute("data-arcs") ?? "[]");
  }

  paint() {
    const face = this.host.querySelector("svg[data-face]");
    if (!face) return;
    const { mirrored } = this;
    /** @type {SVGElement[]} */
    const shapes = [drawn("circle", { class: "face", r: OUTER }), drawn("circle", { class: "cup", r: 46 })];
    for (let half = 0; half < 24; half += 1) {
      const [x = 0, y = 0] = spotOf(half / 2, OUTER, mirrored);
      const [nearX = 0, nearY = 0] = spotOf(half / 2, half % 2 ? OUTER - 3 : OUTER - 6, mirrored);
      shapes.push(drawn("path", { class: "tick", d: `M${nearX} ${nearY}L${x} ${y}` }));
    }
    for (let hour = 1; hour <= 12; hour += 1) {
      const [x, y] = /** @type {[number, number]} */ (spotOf(hour, 104, mirrored));
      shapes.push(drawn("text", { class: hour % 3 ? "hour" : "hour main", x, y: y + 4 }, String(hour)));
    }
    for (const { from, to, name, value } of this.arcs) {
      shapes.push(drawn("path", { class: "found", d: arcPath(from, to, { ...RINGS, mirrored }) }, drawn("title", {}, `${name}: ${value}, ${hourWords(from)} to ${hourWords(to)}`)));
    }
    const entered = this.entered();
    if (entered) shapes.push(drawn("path", { class: "entered", d: arcPath(entered.from, entered.to, { ...OWN, mirrored }) }));
    if (this.hour !== null) {
      for (const hour of [this.hour, this.hour + 6]) {
        const [x, y] = spotOf(hour, OUTER, mirrored);
        shapes.push(drawn("path", { class: "plane", d: `M0 0L${x} ${y}` }));
      }
    }
    const words = this.host.querySelector("[data-face-words]");
    if (words) words.textContent = entered ? `${hourWords(entered.from)} to ${hourWords(entered.to)}` : "";
    face.classList.toggle("takes", this.fields !== null);
    face.replaceChildren(...shapes);
  }

  entered() {
    if (!this.fields || this.fields.from.value === "" || this.fields.to.value === "") return null;
    const [from, to] = [Number(this.fields.from.value), Number(this.fields.to.value)];
    return from === to ? { from: from - 0.1, to: to + 0.1 } : { from, to };
  }
}

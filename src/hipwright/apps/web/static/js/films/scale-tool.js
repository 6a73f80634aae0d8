// @ts-check
// Setting the scale on the picture. The server works it out from the clicks and the number.

import { drawn, part } from "./facts.js";
import { send } from "./sending.js";

/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {"ball" | "points" | "distances" | "none"} By */

const FEWEST = { ball: 3, points: 2, distances: 0, none: 0 };

export class ScaleTool {
  /**
   * @param {HTMLElement} panel
   * @param {object} given
   * @param {import("./facts.js").ScreenFacts} given.facts
   * @param {import("../components/film-view/film-view.js").FilmView} given.view
   * @param {import("./placing.js").Placing} given.placing
   * @param {(words: string) => void} given.announce
   */
  constructor(panel, { facts, view, placing, announce }) {
    this.panel = panel;
    this.facts = facts;
    this.view = view;
    this.placing = placing;
    this.announce = announce;
    /** @type {Place[]} */
    this.clicks = [];
    this.form = part("form", HTMLFormElement, panel);
    this.result = part("[data-scale-result]", HTMLElement, panel);
    this.keep = part("[data-keep-scale]", HTMLButtonElement, panel);
    this.svg = drawn("svg", { class: "overlay tool" });
    view.append(this.svg);
    view.addEventListener("film-moved", () => this.draw());
    this.form.addEventListener("change", ({ target }) => {
      if (target instanceof HTMLInputElement && target.name === "by") this.restart();
    });
    this.form.addEventListener("input", () => this.tryOut());
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.send(true);
    });
    part("[data-clear-scale]", HTMLButtonElement, panel).addEventListener("click", () => {
      this.clicks = [];
      this.restart();
    });
    part("[data-scale-details]", HTMLDetailsElement, panel.ownerDocument).addEventListener("toggle", (event) => {
      if (!(/** @type {HTMLDetailsElement} */ (event.currentTarget).open)) this.stop();
    });
  }

  /** @returns {By} */
  get by() {
    const value = new FormData(this.form).get("by");
    return value === "ball" || value === "points" || value === "distances" ? value : "none";
  }

  restart() {
    for (const field of this.form.querySelectorAll("[data-for]")) {
      /** @type {HTMLElement} */ (field).hidden = !field.getAttribute("data-for")?.split(" ").includes(this.by);
    }
    if (this.by === "points") this.clicks = this.clicks.slice(0, 2);
    const clicks = FEWEST[this.by] > 0;
    this.placing.borrow(clicks ? (place) => this.click(place) : null);
    this.draw();
    this.tryOut();
  }

  stop() {
    this.clicks = [];
    this.form.reset();
    this.result.textContent = "";
    this.keep.disabled = true;
    this.placing.borrow(null);
    this.draw();
  }

  /** @param {Place} place */
  click(place) {
    this.clicks = this.by === "points" && this.clicks.length >= 2 ? [place] : [...this.clicks, place];
    this.draw();
    this.tryOut();
  }

  draw() {
    this.svg.replaceChildren(...this.clicks.map((place) => {
      const [x, y] = this.view.screenOf(place);
      const d = "M-7,0H7M0,-7V7";
      return drawn("g", { transform: `translate(${x},${y})`, class: "crosshair" },
        drawn("path", { d, class: "under" }), drawn("path", { d, class: "over" }));
    }));
  }

  /** @param {string} name */
  number(name) {
    return Number(new FormData(this.form).get(name));
  }

  get how() {
    switch (this.by) {
      case "ball": return { by: "ball", xy: this.clicks, diameter_mm: this.number("diameter") };
      case "points": return { by: "points", xy: this.clicks, distance_mm: this.number("distance") };
      case "distances": return {
        by: "distances",
        detector_mm: this.number("detector"),
        source_to_detector_mm: this.number("source"),
        hip_to_detector_mm: this.number("hip"),
      };
      default: return { by: "none" };
    }
  }

  get isComplete() {
    const numbers = Object.values(this.how).filter((value) => typeof value === "number");
    return this.clicks.length >= FEWEST[this.by] && numbers.every((value) => value > 0);
  }

  tryOut() {
    this.keep.disabled = true;
    const need = FEWEST[this.by];
    if (this.isComplete) this.send(false);
    else if (need > 0 && this.clicks.length < need) {
      this.result.textContent = `${this.clicks.length} of at least ${need} clicks on the picture.`;
    } else this.result.textContent = "";
  }

  /** @param {boolean} keep */
  async send(keep) {
    try {
      const answer = await send(`/films/${this.facts.image}/scale`, {
        how: this.how, keep, expected_version: this.facts.version,
      });
      const { spacing, doubt, note } = answer.scale;
      this.result.textContent = [spacing, doubt, note].filter(Boolean).join(". ");
      this.keep.disabled = false;
      if (keep) {
        this.announce("The scale is saved.");
        location.reload();
      }
    } catch (error) {
      this.result.textContent = error instanceof Error ? error.message : String(error);
    }
  }
}

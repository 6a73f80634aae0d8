// @ts-check
// A second film beside the first, with its newest reading shown faintly; zoom can be linked.

import { FilmView } from "../components/film-view/film-view.js";
import { Overlay } from "./overlay.js";
import { made, part } from "./facts.js";
import { ReadingModel } from "./reading-model.js";
import { readerWord } from "./readings-panel.js";
import { ask } from "./sending.js";

export class Beside {
  /**
   * @param {HTMLElement} screen
   * @param {import("./facts.js").ScreenFacts} facts
   * @param {FilmView} main
   */
  constructor(screen, facts, main) {
    this.screen = screen;
    this.main = main;
    this.pane = part("[data-beside]", HTMLElement, screen);
    this.linked = part("[data-link-zoom]", HTMLInputElement, screen);
    const choice = screen.querySelector("[data-beside-choice]");
    if (choice instanceof HTMLSelectElement) {
      choice.addEventListener("change", () => this.show(choice.value));
    }
    main.addEventListener("film-moved", () => this.follow(main, this.second));
    /** @type {FilmView | null} */
    this.second = null;
    this.isFollowing = false;
    if (facts.beside) this.show(facts.beside);
  }

  /** @param {string} image */
  async show(image) {
    const address = new URL(location.href);
    if (image) address.searchParams.set("beside", image);
    else address.searchParams.delete("beside");
    history.replaceState(null, "", address);
    this.pane.hidden = image === "";
    this.screen.classList.toggle("paired", image !== "");
    part("[data-link-field]", HTMLElement, this.screen).hidden = image === "";
    part("[data-beside-view]", HTMLElement, this.pane).replaceChildren();
    this.second = null;
    if (image === "") return;
    const shown = await ask(`/films/${image}/beside`);
    const { facts } = shown;
    const view = new FilmView();
    part("[data-beside-view]", HTMLElement, this.pane).append(view);
    const overlay = new Overlay(view, new ReadingModel(facts, []));
    overlay.ghosts = shown.items;
    overlay.circles = shown.circles;
    view.addEventListener("film-ready", () => overlay.paint());
    view.addEventListener("film-moved", () => this.follow(view, this.main));
    this.second = view;
    part("[data-beside-name]", HTMLElement, this.pane).replaceChildren(
      made("a", { href: `/films/${image}` }, shown.name),
      shown.reading ? ` read by ${readerWord(shown.reading.observer)}` : " not read yet",
    );
    view.show({
      columns: facts.columns,
      rows: facts.rows,
      aspect: facts.aspect,
      preview: `/films/${image}/preview/${facts.sha256}.jpg`,
      pixels: `/films/${image}/pixels/${facts.sha256}`,
      name: shown.name,
    });
  }

  /**
   * With linked zoom both films show the same share of themselves.
   * @param {FilmView} from
   * @param {FilmView | null} to
   */
  follow(from, to) {
    if (!this.linked.checked || this.isFollowing || !to?.film || !from.film) return;
    const share = to.film.columns / from.film.columns;
    const high = (to.film.rows * to.film.aspect) / (from.film.rows * from.film.aspect);
    const { width, height } = from.box;
    const { x, y, scale } = from.view;
    const wide = to.box.width / Math.max(width, 1);
    this.isFollowing = true;
    const next = (scale * wide) / share;
    const middle = { x: (width / 2 - x) / scale, y: (height / 2 - y) / scale };
    to.isFitted = false;
    to.setView({
      scale: next,
      x: to.box.width / 2 - middle.x * share * next,
      y: to.box.height / 2 - middle.y * high * next,
    });
    this.isFollowing = false;
  }
}

// @ts-check
// Somebody else's reading is on the picture: it is shown, and changed only by who goes on
// with it. A reading of one's own starts empty, so that repeats stay honest.

import { readerWord } from "./readings-panel.js";

/** @typedef {import("./facts.js").KeptReading} KeptReading */

export class LookedAt {
  /**
   * @param {HTMLElement} card
   * @param {KeptReading} reading
   * @param {object} given
   * @param {import("./reading-model.js").ReadingModel} given.model
   * @param {import("./readings-panel.js").ReadingsPanel} given.readings
   * @param {(words: string) => void} given.announce
   */
  constructor(card, reading, { model, readings, announce }) {
    this.card = card;
    this.reader = readerWord(reading.observer);
    this.announce = announce;
    model.addEventListener("refused", () => this.remind());
    card.addEventListener("click", ({ target }) => {
      if (!(target instanceof Element)) return;
      if (target.closest("[data-go-on]")) readings.goOn(reading);
      if (target.closest("[data-read-oneself]")) readings.readOneself();
    });
  }

  /** Somebody tried to move a landmark: the choice is pointed out. */
  remind() {
    this.announce(`This is a reading by ${this.reader}. Go on with it, or read the film yourself.`);
    this.card.classList.remove("reminds");
    void this.card.offsetWidth; // starts the animation anew
    this.card.classList.add("reminds");
    this.card.scrollIntoView({ block: "nearest" });
  }
}

// @ts-check
// Which bones are shown, which are seen through, and the other hip mirrored onto this one.

import { part } from "../lib/elements.js";
import { addressOf } from "./facts.js";

/** @typedef {import("./facts.js").ScreenFacts} ScreenFacts */

const THROUGH = 0.32;
const MIRRORED = "mirrored ";

export class ShownBones {
  /**
   * @param {HTMLElement} screen
   * @param {import("../components/bone-view/bone-view.js").BoneView} view
   * @param {ScreenFacts} facts
   * @param {(words: string) => void} say
   */
  constructor(screen, view, facts, say) {
    this.view = view;
    this.facts = facts;
    this.say = say;
    this.panel = part("[data-bones-shown]", HTMLElement, screen);
    this.panel.addEventListener("change", (event) => this.change(event));
  }

  /** Bring what is drawn in line with what is ticked. */
  apply() {
    for (const input of this.panel.querySelectorAll("input")) this.applyOne(input);
  }

  /** @param {Event} event */
  change(event) {
    if (event.target instanceof HTMLInputElement) this.applyOne(event.target);
  }

  /** @param {HTMLInputElement} input */
  applyOne(input) {
    const { show, through } = input.dataset;
    if (show) this.view.show(show, input.checked);
    if (through) this.view.seeThrough(through, input.checked ? THROUGH : 1);
    if ("mirror" in input.dataset) void this.mirror(input);
  }

  /** @param {HTMLInputElement} input */
  async mirror(input) {
    const others = this.facts.bones.filter((bone) => bone.side !== null && bone.side !== this.facts.side && bone.part === "");
    const ids = others.map((bone) => MIRRORED + bone.id);
    if (!input.checked) {
      ids.forEach((id) => this.view.drop(id));
      return;
    }
    try {
      await this.view.load(others.map((bone) => ({
        id: MIRRORED + bone.id,
        words: `${bone.words}, mirrored`,
        address: addressOf(this.facts, `mirrored/${bone.id}`),
        color: "#7fb9e6",
        ghost: true,
      })));
      this.say("The other hip lies mirrored over this one, in blue");
    } catch {
      input.checked = false;
      this.say("The other hip cannot be laid over this one: a frame of the pelvis is missing.");
    }
  }
}

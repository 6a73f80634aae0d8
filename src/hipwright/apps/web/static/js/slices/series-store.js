// @ts-check
// The series as this page has it: pictures and labels, fetched a few at a time before they are
// wanted. What was asked for last comes first.
//
// Events: "arrived" (detail: { kind, direction, first, count }), "trouble" (detail: words).

import { KeptPictures } from "../lib/kept-pictures.js";
import { Refused, ask } from "../lib/sending.js";

/** @typedef {import("./facts.js").BlockFacts} BlockFacts */
/** @typedef {import("./facts.js").Direction} Direction */
/** @typedef {"cuts" | "codes"} Kind */
/** @typedef {{ kind: Kind, direction: Direction, first: number, count: number, key: string }} Wish */

const MOST_VALUES = 160 * 2 ** 20;
const MOST_CODES = 80 * 2 ** 20;
const CHUNK_BYTES = 2 * 2 ** 20;
const MOST_UNDER_WAY = 3;

export class SeriesStore extends EventTarget {
  /**
   * @param {string} image
   * @param {string} desk
   */
  constructor(image, desk) {
    super();
    this.image = image;
    this.desk = desk;
    /** @type {BlockFacts[]} */
    this.blocks = [];
    this.block = 0;
    /** @type {KeptPictures<Int16Array>} */
    this.cuts = new KeptPictures(MOST_VALUES);
    /** @type {KeptPictures<Uint8Array>} */
    this.codes = new KeptPictures(MOST_CODES);
    /** Labels grow old with every edit; values do not. */
    this.generation = 0;
    /** @type {"mine" | "kept"} */
    this.whose = "mine";
    this.withCodes = true;
    /** @type {Wish[]} */
    this.wishes = [];
    /** @type {Set<string>} */
    this.underWay = new Set();
  }

  /**
   * Wait until the server has read the series.
   * @param {(message: string, share: number | null) => void} tell
   * @param {boolean} [again]
   */
  async open(tell, again = false) {
    let address = `/slices/${this.image}/volume${again ? "?again=true" : ""}`;
    for (;;) {
      const answer = await ask(address);
      address = `/slices/${this.image}/volume`;
      if (answer.blocks) {
        this.blocks = answer.blocks;
        return;
      }
      tell(answer.message, answer.total > 0 ? answer.done / answer.total : null);
    }
  }

  get facts() {
    return /** @type {BlockFacts} */ (this.blocks[this.block]);
  }

  /** @param {Direction} direction */
  view(direction) {
    const found = this.facts.views.find((view) => view.direction === direction);
    if (!found) throw new Error(`no ${direction} view`);
    return found;
  }

  /** @param {number} block */
  choose(block) {
    this.block = block;
    this.wishes = [];
  }

  /** @param {Kind} kind @param {Direction} direction @param {number} index */
  key(kind, direction, index) {
    const age = kind === "codes" ? `${this.generation}${this.whose}` : "";
    return `${this.block} ${direction} ${index} ${age}`;
  }

  /**
   * A picture's values if they are here; else they are on their way.
   * @param {Direction} direction
   * @param {number} index
   */
  valuesOf(direction, index) {
    return this.cuts.get(this.key("cuts", direction, index)) ?? this.wish("cuts", direction, index);
  }

  /**
   * A picture's labels if they are here; else they are on their way.
   * @param {Direction} direction
   * @param {number} index
   */
  codesOf(direction, index) {
    if (!this.withCodes) return null;
    return this.codes.get(this.key("codes", direction, index)) ?? this.wish("codes", direction, index);
  }

  /** Labels have changed. */
  forgetCodes() {
    this.generation += 1;
    this.codes.clear();
    this.wishes = this.wishes.filter((wish) => wish.kind !== "codes");
  }

  /**
   * Fetch what will be wanted when scrolling goes on.
   * @param {Direction} direction
   * @param {number} index
   * @param {number} way
   */
  prepare(direction, index, way) {
    const view = this.view(direction);
    const chunk = this.chunk(view.columns * view.rows * 2);
    const steps = way === 0 ? [-1, 1] : [2 * way, way];
    for (const step of steps) {
      const near = index + step * chunk;
      if (near < 0 || near >= view.count) continue;
      if (!this.cuts.has(this.key("cuts", direction, near))) this.wish("cuts", direction, near, true);
      if (this.withCodes && !this.codes.has(this.key("codes", direction, near))) this.wish("codes", direction, near, true);
    }
  }

  /** @param {number} bytes of a picture */
  chunk(bytes) {
    return Math.min(Math.max(Math.floor(CHUNK_BYTES / bytes), 2), 16);
  }

  /**
   * @param {Kind} kind
   * @param {Direction} direction
   * @param {number} index
   * @param {boolean} [later] after what is wanted at once
   * @returns {null}
   */
  wish(kind, direction, index, later = false) {
    const view = this.view(direction);
    const chunk = this.chunk(view.columns * view.rows * 2);
    const first = Math.floor(index / chunk) * chunk;
    const key = `${kind} ${this.key(kind, direction, first)}`;
    if (this.underWay.has(key)) return null;
    const wish = { kind, direction, first, count: Math.min(chunk, view.count - first), key };
    const others = this.wishes.filter((one) => one.key !== key);
    this.wishes = later ? [wish, ...others] : [...others, wish];
    this.next();
    return null;
  }

  next() {
    while (this.underWay.size < MOST_UNDER_WAY) {
      const wish = this.wishes.pop();
      if (!wish) return;
      this.fetch(wish);
    }
  }

  /** @param {Wish} wish */
  async fetch(wish) {
    const { kind, direction, first, count, key } = wish;
    const { block, generation, whose } = this;
    this.underWay.add(key);
    const more = kind === "codes" ? `&desk=${this.desk}&whose=${whose}` : "";
    try {
      const answer = await fetch(`/slices/${this.image}/${kind}/${block}/${direction}/${first}?count=${count}${more}`);
      if (!answer.ok) throw new Refused(answer.status, await answer.json().catch(() => null));
      const bytes = await answer.arrayBuffer();
      if (kind === "codes" && generation !== this.generation) return;
      this.take(wish, bytes, block);
      this.dispatchEvent(new CustomEvent("arrived", { detail: { kind, direction, first, count } }));
    } catch (error) {
      const words = error instanceof Refused ? error.message : "hipwright does not answer. Is it still running?";
      this.dispatchEvent(new CustomEvent("trouble", { detail: words }));
    } finally {
      this.underWay.delete(key);
      this.next();
    }
  }

  /**
   * @param {Wish} wish
   * @param {ArrayBuffer} bytes
   * @param {number} block
   */
  take({ kind, direction, first, count }, bytes, block) {
    if (block !== this.block) return;
    const { columns, rows } = this.view(direction);
    const size = columns * rows;
    for (let k = 0; k < count; k += 1) {
      const key = this.key(kind, direction, first + k);
      // A copy of its own, so that one picture does not hold the memory of all its neighbors.
      if (kind === "cuts") this.cuts.put(key, new Int16Array(bytes.slice(2 * size * k, 2 * size * (k + 1))));
      else this.codes.put(key, new Uint8Array(bytes.slice(size * k, size * (k + 1))));
    }
  }
}

// @ts-check
// The reading on the screen: what is placed, what is asked for, what can be undone.
//
// Events: "changed" (landmarks), "target" (what is asked for or moved), "passing" (order),
// "refused" (somebody tried to change a reading that is only looked at).

import { isFinished, neighbor, nextOpen, stepsOf } from "../lib/guide-order.js";
import { fromKey, placedFrom, without, withItem, withoutVertex, withVertex, withVertexBefore } from "../lib/placed.js";
import { UndoStack } from "../lib/undo-stack.js";

/** @typedef {import("../lib/placed.js").Item} Item */
/** @typedef {import("../lib/placed.js").Placed} Placed */
/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {import("../lib/guide-order.js").Step} Step */
/** @typedef {import("../lib/guide-order.js").Pass} Pass */
/** @typedef {import("./facts.js").FilmFacts} FilmFacts */

export class ReadingModel extends EventTarget {
  /**
   * @param {FilmFacts} facts
   * @param {Iterable<Item>} items
   * @param {boolean} [isLookedAt] somebody else's reading, shown and not changed
   */
  constructor(facts, items, isLookedAt = false) {
    super();
    this.facts = facts;
    this.isLookedAt = isLookedAt;
    this.landmarks = new Map(facts.landmarks.map((landmark) => [landmark.id, landmark]));
    this.history = new UndoStack(placedFrom(items));
    /** @type {Pass} */
    this.pass = "turns";
    /** @type {Set<string>} */
    this.skipped = new Set();
    /** What is asked for or selected. @type {string | null} */
    this.target = null;
    /** The vertex that keys move, of a circle or contour. @type {number} */
    this.vertex = 0;
    /** Whether clicks on the picture place something. */
    this.isPlacing = false;
    this.steps = this.stepsNow();
  }

  get placed() {
    return this.history.now;
  }

  stepsNow() {
    const asked = this.facts.landmarks.filter((landmark) => landmark.used);
    return stepsOf(asked, this.facts.sides, this.pass);
  }

  /** @param {Pass} pass */
  passBy(pass) {
    this.pass = pass;
    this.steps = this.stepsNow();
    this.dispatchEvent(new Event("passing"));
  }

  /** @param {string} key */
  landmarkOf(key) {
    return this.landmarks.get(fromKey(key).id) ?? null;
  }

  /** @param {string} key */
  isDone(key) {
    const landmark = this.landmarkOf(key);
    return landmark !== null && isFinished(landmark, this.placed.get(key)?.xy.length ?? 0);
  }

  /** @param {string} key */
  stateOf(key) {
    if (this.isDone(key)) return "placed";
    if (this.placed.has(key)) return "begun";
    return this.skipped.has(key) ? "skipped" : "open";
  }

  get doneCount() {
    return this.steps.filter((step) => this.isDone(step.key)).length;
  }

  /** @param {string | null} key @param {{ placing?: boolean, vertex?: number }} [how] */
  aim(key, { placing, vertex } = {}) {
    const landmark = key === null ? null : this.landmarkOf(key);
    this.target = key;
    this.isPlacing = key !== null && !this.isLookedAt && (placing ?? !this.isDone(key));
    const clicks = key === null ? 0 : (this.placed.get(key)?.xy.length ?? 0);
    this.vertex = vertex ?? (landmark?.kind === "point" ? 0 : Math.max(0, clicks - 1));
    this.history.rest();
    this.dispatchEvent(new Event("target"));
  }

  /** Ask for the next landmark that is open. */
  advance() {
    if (this.isLookedAt) {
      this.refuse();
      return;
    }
    /** @param {Step} step */
    const isOpen = (step) => !this.isDone(step.key) && !this.skipped.has(step.key);
    const next = nextOpen(this.steps, this.target, isOpen);
    this.aim(next?.key ?? null, { placing: next !== null });
  }

  skip() {
    if (this.target !== null) this.skipped.add(this.target);
    this.advance();
  }

  /** @param {1 | -1} by */
  stepBy(by) {
    const step = neighbor(this.steps, this.target, by);
    if (step) this.aim(step.key);
  }

  /** To the next placed landmark, for looking through. @param {1 | -1} by */
  cycle(by) {
    const placed = this.steps.filter((step) => this.placed.has(step.key));
    const at = placed.findIndex((step) => step.key === this.target);
    const next = placed[(at + by + placed.length) % placed.length];
    if (next) this.aim(next.key, { placing: false });
  }

  /** A click on the picture for the landmark that is asked for. @param {Place} place */
  click(place) {
    const key = this.target;
    const landmark = key === null ? null : this.landmarkOf(key);
    if (key === null || landmark === null) return;
    this.skipped.delete(key);
    const before = this.placed.get(key)?.xy ?? [];
    const xy = landmark.kind === "point" ? [place] : [...before, place];
    this.vertex = xy.length - 1;
    this.put(key, xy);
    if (landmark.kind === "point") this.advance();
    else this.dispatchEvent(new Event("target"));
  }

  /** No more clicks for this circle or contour. */
  finish() {
    if (this.target !== null && this.isDone(this.target)) this.advance();
  }

  /** @param {string} key @param {number} index @param {Place} place @param {string | null} [tag] */
  moveVertex(key, index, place, tag = null) {
    const item = this.placed.get(key);
    if (item) this.put(key, withVertex(item.xy, index, place), tag);
  }

  /** @param {string} key @param {number} before @param {Place} place */
  addVertex(key, before, place) {
    const item = this.placed.get(key);
    if (!item) return;
    if (this.isLookedAt) {
      this.refuse();
      return;
    }
    this.put(key, withVertexBefore(item.xy, before, place));
    this.aim(key, { placing: false, vertex: before });
  }

  /** Remove the active vertex, or the landmark if it is a point or would not hold any more. */
  removeActive() {
    const key = this.target;
    const item = key === null ? undefined : this.placed.get(key);
    if (key === null || item === undefined) return;
    if (this.isLookedAt) {
      this.refuse();
      return;
    }
    const index = this.vertex;
    this.put(key, item.xy.length <= 1 ? [] : withoutVertex(item.xy, index));
    this.aim(key, { vertex: Math.max(0, Math.min(index, item.xy.length - 2)) });
  }

  /** @param {string} key */
  removeAll(key) {
    this.set(without(this.placed, key), null);
    this.aim(key);
  }

  /** @param {string} key @param {readonly Place[]} xy @param {string | null} [tag] */
  put(key, xy, tag = null) {
    this.set(withItem(this.placed, { ...fromKey(key), xy }), tag);
  }

  refuse() {
    this.dispatchEvent(new Event("refused"));
  }

  /** @param {Placed} placed @param {string | null} tag */
  set(placed, tag) {
    if (this.isLookedAt) {
      this.refuse();
      return;
    }
    this.history.push(placed, tag);
    this.dispatchEvent(new Event("changed"));
  }

  /** Take another version as a further step, which can be undone. @param {Iterable<Item>} items */
  replaceAll(items) {
    this.set(placedFrom(items), null);
    this.aim(null);
  }

  undo() {
    if (!this.history.canUndo) return;
    this.history.undo();
    this.afterTurn();
  }

  redo() {
    if (!this.history.canRedo) return;
    this.history.redo();
    this.afterTurn();
  }

  afterTurn() {
    const clicks = this.target === null ? 0 : (this.placed.get(this.target)?.xy.length ?? 0);
    this.vertex = Math.max(0, Math.min(this.vertex, clicks - 1));
    if (this.target !== null && clicks === 0) this.isPlacing = true;
    this.dispatchEvent(new Event("changed"));
    this.dispatchEvent(new Event("target"));
  }
}

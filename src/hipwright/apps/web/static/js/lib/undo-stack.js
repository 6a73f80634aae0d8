// @ts-check
// What was, what is, and what was undone: states are never changed, only replaced.

/** @template State */
export class UndoStack {
  /** @param {State} first */
  constructor(first) {
    /** @type {State[]} */
    this.before = [];
    this.now = first;
    /** @type {State[]} */
    this.after = [];
    /** @type {string | null} */
    this.mergesWith = null;
  }

  /**
   * A new state. Steps in a row that carry the same tag are undone as one.
   * @param {State} state
   * @param {string | null} [tag]
   */
  push(state, tag = null) {
    if (tag === null || tag !== this.mergesWith) this.before.push(this.now);
    this.now = state;
    this.after = [];
    this.mergesWith = tag;
  }

  /** The next step stands for itself, whatever its tag. */
  rest() {
    this.mergesWith = null;
  }

  /**
   * Start over: nothing before can be undone.
   * @param {State} state
   */
  reset(state) {
    this.before = [];
    this.after = [];
    this.now = state;
    this.mergesWith = null;
  }

  /** @returns {State} */
  undo() {
    const last = this.before.pop();
    if (last !== undefined) {
      this.after.push(this.now);
      this.now = last;
    }
    this.mergesWith = null;
    return this.now;
  }

  /** @returns {State} */
  redo() {
    const next = this.after.pop();
    if (next !== undefined) {
      this.before.push(this.now);
      this.now = next;
    }
    this.mergesWith = null;
    return this.now;
  }

  get canUndo() {
    return this.before.length > 0;
  }

  get canRedo() {
    return this.after.length > 0;
  }
}

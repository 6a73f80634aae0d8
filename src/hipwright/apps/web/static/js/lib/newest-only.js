// @ts-check
// One message under way at a time; what comes meanwhile is merged and goes as one.

/**
 * @template Change
 */
export class NewestOnly {
  /**
   * @param {object} how
   * @param {(earlier: Change, later: Change) => Change} how.merge
   * @param {(seq: number, change: Change) => void} how.send
   */
  constructor({ merge, send }) {
    this.merge = merge;
    this.send = send;
    this.seq = 0;
    /** @type {number | null} */
    this.underWay = null;
    /** @type {Change | null} */
    this.waiting = null;
  }

  /** @param {Change} change */
  offer(change) {
    this.waiting = this.waiting === null ? change : this.merge(this.waiting, change);
    this.next();
  }

  /**
   * An answer has come. Answers to older messages are not awaited any more.
   * @param {number} seq
   */
  answered(seq) {
    if (this.underWay !== null && seq >= this.underWay) {
      this.underWay = null;
      this.next();
    }
  }

  /** The line is gone: whatever was under way is lost. */
  reset() {
    this.underWay = null;
    this.waiting = null;
  }

  get isIdle() {
    return this.underWay === null && this.waiting === null;
  }

  next() {
    if (this.underWay !== null || this.waiting === null) return;
    const change = this.waiting;
    this.waiting = null;
    this.seq += 1;
    this.underWay = this.seq;
    this.send(this.seq, change);
  }
}

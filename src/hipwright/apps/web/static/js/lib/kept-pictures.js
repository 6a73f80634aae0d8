// @ts-check
// Pictures that were fetched, up to a number of bytes; the one longest unused goes first.

/** @template {{ byteLength: number }} Picture */
export class KeptPictures {
  /** @param {number} mostBytes */
  constructor(mostBytes) {
    this.mostBytes = mostBytes;
    this.bytes = 0;
    /** @type {Map<string, Picture>} */
    this.kept = new Map();
  }

  /** @param {string} key @returns {Picture | null} */
  get(key) {
    const found = this.kept.get(key);
    if (found === undefined) return null;
    this.kept.delete(key);
    this.kept.set(key, found);
    return found;
  }

  /** @param {string} key */
  has(key) {
    return this.kept.has(key);
  }

  /** @param {string} key @param {Picture} picture */
  put(key, picture) {
    this.drop(key);
    this.kept.set(key, picture);
    this.bytes += picture.byteLength;
    for (const oldest of this.kept.keys()) {
      if (this.bytes <= this.mostBytes || oldest === key) break;
      this.drop(oldest);
    }
  }

  /** @param {string} key */
  drop(key) {
    const found = this.kept.get(key);
    if (found === undefined) return;
    this.kept.delete(key);
    this.bytes -= found.byteLength;
  }

  clear() {
    this.kept.clear();
    this.bytes = 0;
  }
}

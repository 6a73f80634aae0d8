// @ts-check
// Gray values through a window with labels over them, as 8-bit pixels.

const OUTSIDE = -32768;
const VALUES = 65536;
const MOST_CODE = 8;
const OUTLINE = 0.95;

/**
 * @typedef {object} Mixing
 * @property {number} center
 * @property {number} width
 * @property {boolean} labels
 * @property {number} opacity
 * @property {Float32Array} colors red, green, blue, alpha by code, 0 to 1
 */

/**
 * A table from value (as an unsigned number) to gray.
 * @param {number} center
 * @param {number} width
 */
export function grayTable(center, width) {
  const table = new Uint8ClampedArray(VALUES);
  const low = center - width / 2;
  const gain = 255 / Math.max(width, 1e-3);
  for (let value = 0; value < VALUES; value += 1) {
    table[value] = ((value < VALUES / 2 ? value : value - VALUES) - low) * gain;
  }
  return table;
}

/**
 * @param {Uint8ClampedArray} into four bytes a pixel, clear
 * @param {Int16Array} values
 * @param {Uint8Array | null} codes
 * @param {number} columns
 * @param {Mixing} mixing
 * @param {Uint8ClampedArray} [table] of the same window
 */
export function shaded(into, values, codes, columns, mixing, table = grayTable(mixing.center, mixing.width)) {
  const words = new Uint32Array(into.buffer, into.byteOffset, values.length);
  const lowFirst = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;
  const unit = lowFirst ? 0x010101 : 0x01010100;
  const full = lowFirst ? 0xff000000 : 0xff;
  for (let index = 0; index < values.length; index += 1) {
    const value = /** @type {number} */ (values[index]);
    words[index] = value === OUTSIDE ? 0 : (full + /** @type {number} */ (table[value & 0xffff]) * unit) >>> 0;
  }
  if (mixing.labels && codes) overlaid(into, values, codes, columns, mixing);
}

/**
 * @param {Uint8ClampedArray} into
 * @param {Int16Array} values
 * @param {Uint8Array} codes
 * @param {number} columns
 * @param {Mixing} mixing
 */
function overlaid(into, values, codes, columns, { opacity, colors }) {
  const { length } = codes;
  for (let index = 0; index < length; index += 1) {
    const own = /** @type {number} */ (codes[index]);
    const right = index + 1 < length ? /** @type {number} */ (codes[index + 1]) : own;
    const below = index + columns < length ? /** @type {number} */ (codes[index + columns]) : own;
    if ((own | right | below) === 0) continue;
    const edge = (right !== own && (index + 1) % columns !== 0) || below !== own;
    if ((own === 0 && !edge) || values[index] === OUTSIDE) continue;
    const color = 4 * Math.min(own || Math.max(right, below), MOST_CODE);
    const share = Number(colors[color + 3]) * (edge ? OUTLINE : opacity);
    for (let k = 0; k < 3; k += 1) {
      const at = 4 * index + k;
      const gray = /** @type {number} */ (into[at]);
      into[at] = gray + share * (255 * /** @type {number} */ (colors[color + k]) - gray);
    }
  }
}

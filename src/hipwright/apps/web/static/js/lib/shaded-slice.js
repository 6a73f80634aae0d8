// @ts-check
// Gray values through a window with labels over them, as 8-bit pixels.

const OUTSIDE = -32768;

/**
 * @typedef {object} Mixing
 * @property {number} center
 * @property {number} width
 * @property {boolean} labels
 * @property {number} opacity
 * @property {Float32Array} colors red, green, blue, alpha by code, 0 to 1
 */

/**
 * @param {Uint8ClampedArray} into four bytes a pixel
 * @param {Int16Array} values
 * @param {Uint8Array | null} codes
 * @param {number} columns
 * @param {Mixing} mixing
 */
export function shaded(into, values, codes, columns, { center, width, labels, opacity, colors }) {
  const low = center - width / 2;
  const gain = 255 / Math.max(width, 1e-3);
  for (let index = 0, to = 0; index < values.length; index += 1, to += 4) {
    const value = /** @type {number} */ (values[index]);
    if (value === OUTSIDE) continue;
    const gray = Math.min(Math.max((value - low) * gain, 0), 255);
    let [red, green, blue] = [gray, gray, gray];
    if (labels && codes) {
      const own = Math.min(Number(codes[index]), 8);
      const column = index % columns;
      const right = column + 1 < columns ? Number(codes[index + 1]) : own;
      const below = index + columns < codes.length ? Number(codes[index + columns]) : own;
      const edge = right !== own || below !== own;
      const code = own || Math.min(Math.max(right, below), 8);
      const share = Number(colors[4 * code + 3]) * (edge ? 0.95 : own ? opacity : 0);
      red += share * (255 * Number(colors[4 * code]) - red);
      green += share * (255 * Number(colors[4 * code + 1]) - green);
      blue += share * (255 * Number(colors[4 * code + 2]) - blue);
    }
    into[to] = red;
    into[to + 1] = green;
    into[to + 2] = blue;
    into[to + 3] = 255;
  }
}

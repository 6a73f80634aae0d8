// @ts-check
// Gray values through a window: center and width in the film's own units.

/** @typedef {{ center: number, width: number }} GrayWindow */

/**
 * A table from gray value to screen brightness, for drawing without a graphics card.
 * @param {GrayWindow} gray
 * @param {boolean} inverted
 * @returns {Uint8ClampedArray}
 */
export function brightnessTable({ center, width }, inverted) {
  const table = new Uint8ClampedArray(65536);
  const low = center - width / 2;
  for (let value = 0; value < table.length; value += 1) {
    const share = Math.min(Math.max((value - low) / Math.max(width, 1e-6), 0), 1);
    table[value] = Math.round(255 * (inverted ? 1 - share : share));
  }
  return table;
}

/**
 * The least and greatest gray value, without the most extreme half percent on either side.
 * @param {Uint16Array} values
 * @returns {{ low: number, high: number }}
 */
export function usualRange(values) {
  const counts = new Uint32Array(65536);
  const step = Math.max(1, Math.floor(values.length / 400_000));
  let total = 0;
  for (let index = 0; index < values.length; index += step) {
    const value = Number(values[index]);
    counts[value] = Number(counts[value]) + 1;
    total += 1;
  }
  return { low: quantile(counts, total * 0.005), high: quantile(counts, total * 0.995) };
}

/**
 * @param {Uint32Array} counts
 * @param {number} wanted
 */
function quantile(counts, wanted) {
  let seen = 0;
  for (let value = 0; value < counts.length; value += 1) {
    seen += Number(counts[value]);
    if (seen > wanted) return value;
  }
  return counts.length - 1;
}

/**
 * The next smaller picture: means of 2 × 2 pixels.
 * @param {Uint16Array} values
 * @param {number} columns
 * @param {number} rows
 */
export function halved(values, columns, rows) {
  const wide = Math.max(1, columns >> 1);
  const high = Math.max(1, rows >> 1);
  const small = new Uint16Array(wide * high);
  const right = columns > 1 ? 1 : 0;
  const down = rows > 1 ? columns : 0;
  for (let y = 0; y < high; y += 1) {
    let from = 2 * y * columns;
    const to = y * wide;
    for (let x = 0; x < wide; x += 1, from += 2) {
      const sum =
        /** @type {number} */ (values[from]) +
        /** @type {number} */ (values[from + right]) +
        /** @type {number} */ (values[from + down]) +
        /** @type {number} */ (values[from + right + down]);
      small[to + x] = (sum + 2) >> 2;
    }
  }
  return { values: small, columns: wide, rows: high };
}

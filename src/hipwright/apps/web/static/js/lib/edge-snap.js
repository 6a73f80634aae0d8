// @ts-check
// The strongest edge of the picture near a place. This is about gray values only; what the
// edge means is the reader's business.

/** @typedef {{ values: ArrayLike<number>, columns: number, rows: number }} Gray */
/** @typedef {import("./film-transform.js").Place} Place */

/** How many times stronger than its surroundings an edge has to be. */
export const STANDS_OUT = 2.5;

/**
 * Mean of 3 × 3 gray values.
 * @param {Gray} gray
 * @param {number} column
 * @param {number} row
 */
function smooth({ values, columns }, column, row) {
  let total = 0;
  for (let y = row - 1; y <= row + 1; y += 1) {
    for (let x = column - 1; x <= column + 1; x += 1) total += Number(values[y * columns + x]);
  }
  return total / 9;
}

/**
 * @param {Gray} gray
 * @param {number} column
 * @param {number} row
 * @returns {[number, number]} change to the right and downward, a pixel
 */
function gradient(gray, column, row) {
  return [
    (smooth(gray, column + 1, row) - smooth(gray, column - 1, row)) / 2,
    (smooth(gray, column, row + 1) - smooth(gray, column, row - 1)) / 2,
  ];
}

/**
 * @param {Gray} gray
 * @param {Place} place
 * @param {number} radius film pixels
 * @returns {Place | null} `null` where no edge stands out
 */
export function strongestEdge(gray, [column, row], radius) {
  const reach = Math.max(1, Math.ceil(radius));
  const middle = { x: Math.round(column), y: Math.round(row) };
  /** @type {number[]} */
  const strengths = [];
  let best = { weight: 0, strength: 0, x: 0, y: 0 };
  for (let y = middle.y - reach; y <= middle.y + reach; y += 1) {
    for (let x = middle.x - reach; x <= middle.x + reach; x += 1) {
      if (x < 2 || y < 2 || x >= gray.columns - 2 || y >= gray.rows - 2) continue;
      const away = Math.hypot(x - column, y - row);
      if (away > radius) continue;
      const strength = Math.hypot(...gradient(gray, x, y));
      strengths.push(strength);
      const weight = strength * (1 - (0.5 * away) / radius);
      if (weight > best.weight) best = { weight, strength, x, y };
    }
  }
  if (strengths.length === 0) return null;
  strengths.sort((a, b) => a - b);
  const usual = Number(strengths[Math.floor(strengths.length / 2)]);
  if (best.strength <= 0 || best.strength < STANDS_OUT * usual) return null;
  return refined(gray, best.x, best.y);
}

/**
 * Between pixels, across the edge, where the change is greatest.
 * @param {Gray} gray
 * @param {number} x
 * @param {number} y
 * @returns {Place}
 */
function refined(gray, x, y) {
  const [right, down] = gradient(gray, x, y);
  const alongRow = Math.abs(right) >= Math.abs(down);
  /** @param {number} step */
  const strength = (step) => {
    const [gx, gy] = alongRow ? gradient(gray, x + step, y) : gradient(gray, x, y + step);
    return Math.hypot(gx, gy);
  };
  if (Math.min(x, y) < 4 || x >= gray.columns - 4 || y >= gray.rows - 4) return [x, y];
  const [before, here, after] = [strength(-1), strength(0), strength(1)];
  const bend = before - 2 * here + after;
  const shift = bend < 0 ? Math.min(Math.max((before - after) / (2 * bend), -0.5), 0.5) : 0;
  return alongRow ? [x + shift, y] : [x, y + shift];
}

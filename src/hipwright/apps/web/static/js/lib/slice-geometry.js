// @ts-check
// Between the pictures of a view and the patient. Places are mm, +left +posterior +superior; a
// pixel's center is at whole numbers.

/** @typedef {[number, number, number]} Point */
/** @typedef {[number, number]} Pixel column and row */
/**
 * @typedef {object} ViewFacts
 * @property {string} direction
 * @property {number} columns
 * @property {number} rows
 * @property {number} count
 * @property {Point} origin
 * @property {Point} right step to the next column
 * @property {Point} down step to the next row
 * @property {Point} through step to the next picture
 * @property {{ left: string, right: string, top: string, bottom: string }} letters
 * @property {number} stepMm distance of pictures
 * @property {boolean} exact whether pixels are voxels
 */

/**
 * @param {ViewFacts} view
 * @param {number} index
 * @param {Pixel} pixel
 * @returns {Point}
 */
export function placeAt(view, index, [column, row]) {
  return /** @type {Point} */ (
    [0, 1, 2].map((k) => at(view.origin, k) + index * at(view.through, k) + column * at(view.right, k) + row * at(view.down, k))
  );
}

/**
 * Where a place lies in a view: column, row and picture, unrounded.
 * @param {ViewFacts} view
 * @param {Point} place
 * @returns {{ pixel: Pixel, index: number }}
 */
export function pixelAt(view, place) {
  const { right, down, through } = view;
  const away = /** @type {Point} */ ([0, 1, 2].map((k) => at(place, k) - at(view.origin, k)));
  const whole = dot(right, cross(down, through));
  return {
    pixel: [dot(away, cross(down, through)) / whole, dot(right, cross(away, through)) / whole],
    index: dot(right, cross(down, away)) / whole,
  };
}

/** @param {ViewFacts} view mm a column */
export function columnMm(view) {
  return Math.hypot(...view.right);
}

/** A pixel's height over its width. @param {ViewFacts} view */
export function aspectOf(view) {
  return Math.hypot(...view.down) / Math.hypot(...view.right);
}

/**
 * How a length is drawn: the longest round one that fits.
 * @param {number} mmPerScreenPixel
 * @param {number} most screen pixels
 */
export function scaleBar(mmPerScreenPixel, most) {
  const lengths = [1, 2, 5, 10, 20, 50, 100, 200];
  const fitting = lengths.filter((mm) => mm / mmPerScreenPixel <= most);
  const mm = fitting[fitting.length - 1] ?? 1;
  return { mm, pixels: mm / mmPerScreenPixel };
}

/**
 * Where a disc meets a picture: the two ends of the line, or null.
 * @param {{ center: Point, normal: Point, radius: number }} disc
 * @param {ViewFacts} view
 * @param {number} index
 * @returns {[Pixel, Pixel] | null}
 */
export function discInView(disc, view, index) {
  const normal = unit(cross(view.right, view.down));
  const direction = cross(disc.normal, normal);
  const length = Math.hypot(...direction);
  if (length < 1e-3) return null;
  const along = /** @type {Point} */ (direction.map((x) => x / length));
  const on = placeAt(view, index, [0, 0]);
  const off = dot(/** @type {Point} */ ([0, 1, 2].map((k) => at(on, k) - at(disc.center, k))), normal);
  // From the disc's center within the disc to the picture: across the line, in the disc's plane.
  const toward = cross(along, disc.normal);
  const slope = dot(toward, normal);
  const step = off / slope;
  const half = Math.sqrt(disc.radius ** 2 - step ** 2);
  if (!(half > 0)) return null;
  const ends = [-half, half].map((s) =>
    pixelAt(view, /** @type {Point} */ ([0, 1, 2].map((k) => at(disc.center, k) + step * at(toward, k) + s * at(along, k)))).pixel);
  return /** @type {[Pixel, Pixel]} */ (ends);
}

/** A place in words: `R 84, A 12, H 30`. @param {Point} place */
export function placeWords([x, y, z]) {
  const parts = [[x, "L", "R"], [y, "P", "A"], [z, "H", "F"]];
  return parts.map(([value, plus, minus]) => `${Number(value) >= 0 ? plus : minus} ${Math.abs(Number(value)).toFixed(0)}`).join("  ");
}

/** @param {Point} a @param {Point} b @returns {Point} */
function cross(a, b) {
  return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** @param {Point} a @param {Point} b */
function dot(a, b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/** @param {Point} a @returns {Point} */
function unit(a) {
  const length = Math.hypot(...a);
  return [a[0] / length, a[1] / length, a[2] / length];
}

/** @param {readonly number[]} values @param {number} k */
function at(values, k) {
  return /** @type {number} */ (values[k]);
}

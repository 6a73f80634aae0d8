// @ts-check
// Between film pixels and the screen. A film pixel's center is at whole numbers, so the
// picture reaches from -0.5 to columns - 0.5. `scale` is screen pixels a film column.

/** @typedef {[number, number]} Place column and row, or screen x and y */
/** @typedef {{ columns: number, rows: number, aspect: number }} FilmSize `aspect`: a pixel's height over its width */
/** @typedef {{ scale: number, x: number, y: number }} View where the picture's upper left corner lies */
/** @typedef {{ width: number, height: number }} Box */

export const LARGEST_SCALE = 40;

/**
 * @param {View} view
 * @param {FilmSize} film
 * @param {Place} place film pixels
 * @returns {Place}
 */
export function toScreen(view, film, [column, row]) {
  return [
    (column + 0.5) * view.scale + view.x,
    (row + 0.5) * view.scale * film.aspect + view.y,
  ];
}

/**
 * @param {View} view
 * @param {FilmSize} film
 * @param {Place} place screen pixels
 * @returns {Place}
 */
export function toFilm(view, film, [x, y]) {
  return [(x - view.x) / view.scale - 0.5, (y - view.y) / (view.scale * film.aspect) - 0.5];
}

/**
 * The whole picture in the middle of the box.
 * @param {FilmSize} film
 * @param {Box} box
 * @returns {View}
 */
export function fitted(film, box) {
  const high = film.rows * film.aspect;
  const scale = Math.max(Math.min(box.width / film.columns, box.height / high), 1e-4);
  return centered(film, box, scale);
}

/**
 * The picture at a scale, its middle in the middle of the box.
 * @param {FilmSize} film
 * @param {Box} box
 * @param {number} scale
 * @returns {View}
 */
export function centered(film, box, scale) {
  return {
    scale,
    x: (box.width - film.columns * scale) / 2,
    y: (box.height - film.rows * film.aspect * scale) / 2,
  };
}

/**
 * Zoom so that the film place under a screen place stays there.
 * @param {View} view
 * @param {FilmSize} film
 * @param {Box} box
 * @param {number} factor
 * @param {Place} at
 * @returns {View}
 */
export function zoomed(view, film, box, factor, [x, y]) {
  const least = fitted(film, box).scale / 2;
  const scale = Math.min(Math.max(view.scale * factor, least), Math.max(LARGEST_SCALE, least));
  const real = scale / view.scale;
  return kept({ scale, x: x - (x - view.x) * real, y: y - (y - view.y) * real }, film, box);
}

/**
 * @param {View} view
 * @param {FilmSize} film
 * @param {Box} box
 * @param {Place} by
 * @returns {View}
 */
export function shifted(view, film, box, [x, y]) {
  return kept({ scale: view.scale, x: view.x + x, y: view.y + y }, film, box);
}

/**
 * Keep a quarter of the box filled with picture, so it cannot be lost.
 * @param {View} view
 * @param {FilmSize} film
 * @param {Box} box
 * @returns {View}
 */
export function kept(view, film, box) {
  const wide = film.columns * view.scale;
  const high = film.rows * film.aspect * view.scale;
  return {
    scale: view.scale,
    x: between(view.x, Math.min(box.width / 4, wide / 4) - wide, box.width - Math.min(box.width / 4, wide / 4)),
    y: between(view.y, Math.min(box.height / 4, high / 4) - high, box.height - Math.min(box.height / 4, high / 4)),
  };
}

/**
 * Move the view, as little as needed, so that a film place is well inside the box.
 * @param {View} view
 * @param {FilmSize} film
 * @param {Box} box
 * @param {Place} place
 * @returns {View}
 */
export function showing(view, film, box, place) {
  const [x, y] = toScreen(view, film, place);
  const margin = Math.min(80, box.width / 4, box.height / 4);
  const right = between(x, margin, box.width - margin) - x;
  const down = between(y, margin, box.height - margin) - y;
  return { scale: view.scale, x: view.x + right, y: view.y + down };
}

/**
 * A place moved onto the picture.
 * @param {FilmSize} film
 * @param {Place} place
 * @returns {Place}
 */
export function onPicture(film, [column, row]) {
  return [between(column, -0.5, film.columns - 0.5), between(row, -0.5, film.rows - 0.5)];
}

/**
 * @param {number} value
 * @param {number} low
 * @param {number} high
 */
export function between(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

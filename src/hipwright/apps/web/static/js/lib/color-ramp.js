// @ts-check
// The color ramp of maps on bone: viridis, perceptually even and safe for the color-blind
// (van der Walt and Smith, CC0), as nine stops between which colors are mixed.

export const STOPS = ["#440154", "#472d7b", "#3b528b", "#2c728e", "#21918c", "#28ae80", "#5ec962", "#addc30", "#fde725"];

/** @param {string} hex @returns {[number, number, number]} 0 to 255 */
function parts(hex) {
  const at = (/** @type {number} */ n) => Number.parseInt(hex.slice(n, n + 2), 16);
  return [at(1), at(3), at(5)];
}

/** The color at a share of the ramp. @param {number} share @returns {[number, number, number]} 0 to 255 */
export function colorAt(share) {
  const place = Math.max(0, Math.min(1, share)) * (STOPS.length - 1);
  const low = Math.min(STOPS.length - 2, Math.floor(place));
  const [a, b] = [parts(STOPS[low] ?? "#000000"), parts(STOPS[low + 1] ?? "#000000")];
  const mix = place - low;
  const mixed = (/** @type {0 | 1 | 2} */ k) => Math.round(a[k] + (b[k] - a[k]) * mix);
  return [mixed(0), mixed(1), mixed(2)];
}

/** The whole ramp as RGBA bytes. @param {number} size */
export function rampBytes(size = 256) {
  const bytes = new Uint8Array(4 * size);
  for (let n = 0; n < size; n += 1) bytes.set([...colorAt(n / (size - 1)), 255], 4 * n);
  return bytes;
}

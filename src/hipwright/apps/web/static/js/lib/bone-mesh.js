// @ts-check
// The binary form in which surfaces and what is painted on them come from the server, all
// little-endian: `u32 vertices, faces | f32 xyz | u32 indices`, and one byte a vertex, where 0
// is "nothing known here" and 1 to 255 run along the color ramp.

/** @typedef {{ positions: Float32Array, indices: Uint32Array }} BoneMesh */

/** @param {ArrayBuffer} buffer @returns {BoneMesh} */
export function readMesh(buffer) {
  if (buffer.byteLength < 8) throw new Error("the surface came without its sizes");
  const head = new DataView(buffer);
  const vertices = head.getUint32(0, true);
  const faces = head.getUint32(4, true);
  if (buffer.byteLength !== 8 + 12 * vertices + 12 * faces) {
    throw new Error(`the surface has ${buffer.byteLength} bytes in place of ${8 + 12 * (vertices + faces)}`);
  }
  return {
    positions: new Float32Array(buffer, 8, 3 * vertices),
    indices: new Uint32Array(buffer, 8 + 12 * vertices, 3 * faces),
  };
}

/** The box around all corners. @param {readonly Float32Array[]} all @returns {{ low: [number, number, number], high: [number, number, number] }} */
export function boxAround(all) {
  /** @type {[number, number, number]} */
  const low = [Infinity, Infinity, Infinity];
  /** @type {[number, number, number]} */
  const high = [-Infinity, -Infinity, -Infinity];
  for (const positions of all) {
    for (let n = 0; n + 2 < positions.length; n += 3) {
      for (const k of /** @type {const} */ ([0, 1, 2])) {
        const value = positions[n + k] ?? 0;
        if (value < low[k]) low[k] = value;
        if (value > high[k]) high[k] = value;
      }
    }
  }
  return low[0] === Infinity ? { low: [-100, -100, -100], high: [100, 100, 100] } : { low, high };
}

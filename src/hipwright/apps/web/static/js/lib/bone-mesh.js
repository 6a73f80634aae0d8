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

/** The ball around all corners. @param {readonly Float32Array[]} all @returns {{ center: [number, number, number], radius: number }} */
export function ballAround(all) {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (const positions of all) {
    for (let n = 0; n < positions.length; n += 1) {
      const value = positions[n] ?? 0;
      const k = n % 3;
      if (value < (low[k] ?? 0)) low[k] = value;
      if (value > (high[k] ?? 0)) high[k] = value;
    }
  }
  if (low[0] === Infinity) return { center: [0, 0, 0], radius: 100 };
  const half = [0, 1, 2].map((k) => ((high[k] ?? 0) - (low[k] ?? 0)) / 2);
  const center = /** @type {[number, number, number]} */ ([0, 1, 2].map((k) => (low[k] ?? 0) + (half[k] ?? 0)));
  return { center, radius: Math.hypot(...half) };
}

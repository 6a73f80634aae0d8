// @ts-check
// Which places are hidden from the eye by surfaces whose vertices stand close together.

/** @typedef {import("./orbit.js").Vector} Vector */

const ASIDE_MM = 2; // vertices stand nearer to each other than this
const BEFORE_MM = 4; // a landmark lies on its own bone, or a little below its surface

/**
 * A place is hidden where a vertex lies close to the line of sight and clearly before it.
 * @param {Vector} eye
 * @param {readonly Vector[]} places
 * @param {readonly Float32Array[]} surfaces x, y, z of each vertex after the other
 * @returns {boolean[]}
 */
export function areBehind(eye, places, surfaces) {
  const rays = places.map((place) => {
    const way = [place[0] - eye[0], place[1] - eye[1], place[2] - eye[2]];
    const far = Math.hypot(way[0] ?? 0, way[1] ?? 0, way[2] ?? 0);
    return { x: (way[0] ?? 0) / far, y: (way[1] ?? 0) / far, z: (way[2] ?? 0) / far, far, hidden: false };
  });
  let open = rays;
  for (const at of surfaces) {
    for (let n = 0; n < at.length; n += 3) {
      const [x, y, z] = [(at[n] ?? 0) - eye[0], (at[n + 1] ?? 0) - eye[1], (at[n + 2] ?? 0) - eye[2]];
      const square = x * x + y * y + z * z;
      for (const ray of open) {
        const along = x * ray.x + y * ray.y + z * ray.z;
        if (square - along * along < ASIDE_MM ** 2 && along < ray.far - BEFORE_MM && along > 0) ray.hidden = true;
      }
    }
    open = open.filter((ray) => !ray.hidden);
  }
  return rays.map((ray) => ray.hidden);
}

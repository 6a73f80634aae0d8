// @ts-check
// Where one looks from: turned about the patient's long axis and up or down, at a distance.
// Axes are the patient's (+left +posterior +superior, mm). Pure functions on small objects.

/** @typedef {[number, number, number]} Vector */
/**
 * @typedef {object} Orbit
 * @property {number} yaw degrees, 0 from the front
 * @property {number} pitch degrees, positive from above
 * @property {number} distance of the eye from the target, mm
 * @property {Vector} target
 * @property {number} [front] what lies further than this before the target is left out, mm
 */
/** @typedef {{ eye: Vector, right: Vector, up: Vector, back: Vector }} Basis */

export const FIELD_DEG = 20;

/** @type {{ id: string, words: string, yaw: number, pitch: number }[]} */
export const STANDARD_VIEWS = [
  { id: "front", words: "the front", yaw: 0, pitch: 0 },
  { id: "back", words: "the back", yaw: 180, pitch: 0 },
  { id: "right", words: "the right side", yaw: -90, pitch: 0 },
  { id: "left", words: "the left side", yaw: 90, pitch: 0 },
  { id: "above", words: "above", yaw: 0, pitch: 90 },
  { id: "below", words: "below", yaw: 0, pitch: -90 },
];

/** @param {number} degrees */
function radians(degrees) {
  return (degrees * Math.PI) / 180;
}

/** @param {number} degrees in (−180, 180] */
export function wrapped(degrees) {
  const turn = ((degrees % 360) + 360) % 360;
  return turn > 180 ? turn - 360 : turn;
}

/** @param {Orbit} orbit @returns {Basis} */
export function basisOf({ yaw, pitch, distance, target }) {
  const [a, b] = [radians(yaw), radians(pitch)];
  /** @type {Vector} */
  const back = [Math.sin(a) * Math.cos(b), -Math.cos(a) * Math.cos(b), Math.sin(b)];
  /** @type {Vector} */
  const right = [Math.cos(a), Math.sin(a), 0];
  /** @type {Vector} */
  const up = [
    back[1] * right[2] - back[2] * right[1],
    back[2] * right[0] - back[0] * right[2],
    back[0] * right[1] - back[1] * right[0],
  ];
  /** @type {Vector} */
  const eye = [target[0] + distance * back[0], target[1] + distance * back[1], target[2] + distance * back[2]];
  return { eye, right, up, back };
}

/** @param {Orbit} orbit @param {number} yaw @param {number} pitch @returns {Orbit} */
export function turned(orbit, yaw, pitch) {
  return {
    ...orbit,
    yaw: wrapped(orbit.yaw + yaw),
    pitch: Math.max(-90, Math.min(90, orbit.pitch + pitch)),
  };
}

/** Millimeters that one pixel covers at the target. @param {Orbit} orbit @param {number} height of the picture, px */
export function mmPerPixel(orbit, height) {
  return (2 * orbit.distance * Math.tan(radians(FIELD_DEG / 2))) / Math.max(1, height);
}

/** Move what is seen by pixels to the right and down. @param {Orbit} orbit @param {[number, number]} by @param {number} height @returns {Orbit} */
export function panned(orbit, by, height) {
  const { right, up } = basisOf(orbit);
  const mm = mmPerPixel(orbit, height);
  const along = (/** @type {0 | 1 | 2} */ k) => orbit.target[k] - by[0] * mm * right[k] + by[1] * mm * up[k];
  return { ...orbit, target: [along(0), along(1), along(2)] };
}

/** @param {Orbit} orbit @param {number} factor above 1 enlarges @returns {Orbit} */
export function zoomed(orbit, factor) {
  return { ...orbit, distance: Math.max(60, Math.min(6000, orbit.distance / factor)) };
}

/** Look at a ball so that it fills the picture. @param {Orbit} orbit @param {Vector} center @param {number} radius @param {number} aspect width over height @returns {Orbit} */
export function fitted(orbit, center, radius, aspect) {
  const narrow = Math.min(1, aspect);
  return { ...orbit, target: center, distance: (1.06 * radius) / (Math.sin(radians(FIELD_DEG / 2)) * narrow) };
}

/**
 * Look at a box of the patient's axes so that it fills the picture.
 * @param {Orbit} orbit
 * @param {Vector} low
 * @param {Vector} high
 * @param {number} aspect
 * @returns {Orbit}
 */
export function fittedBox(orbit, low, high, aspect) {
  const center = /** @type {Vector} */ ([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2]);
  const { right, up, back } = basisOf({ ...orbit, target: center });
  const half = /** @type {Vector} */ ([(high[0] - low[0]) / 2, (high[1] - low[1]) / 2, (high[2] - low[2]) / 2]);
  /** @param {Vector} axis */
  const reach = (axis) => Math.abs(axis[0]) * half[0] + Math.abs(axis[1]) * half[1] + Math.abs(axis[2]) * half[2];
  const tangent = Math.tan(radians(FIELD_DEG / 2));
  const far = Math.max(reach(up), reach(right) / Math.max(0.1, aspect)) * 1.08;
  return { ...orbit, target: center, distance: far / tangent + 0.5 * reach(back) };
}

/** The way between two views, at a share of it, the shorter way round. @param {Orbit} from @param {Orbit} to @param {number} share @returns {Orbit} */
export function between(from, to, share) {
  const eased = share * share * (3 - 2 * share);
  /** @param {number} a @param {number} b */
  const mix = (a, b) => a + (b - a) * eased;
  return {
    yaw: wrapped(from.yaw + wrapped(to.yaw - from.yaw) * eased),
    pitch: mix(from.pitch, to.pitch),
    distance: mix(from.distance, to.distance),
    target: [mix(from.target[0], to.target[0]), mix(from.target[1], to.target[1]), mix(from.target[2], to.target[2])],
  };
}

/** The yaw and pitch from which one looks along a direction (of the eye from the target). @param {Vector} back */
export function towardEye(back) {
  const length = Math.hypot(...back) || 1;
  const pitch = (Math.asin(back[2] / length) * 180) / Math.PI;
  const flat = Math.hypot(back[0], back[1]) / length;
  const yaw = flat < 1e-6 ? 0 : (Math.atan2(back[0], -back[1]) * 180) / Math.PI;
  return { yaw, pitch };
}

/** Where one looks from, in words. @param {Orbit} orbit */
export function viewInWords({ yaw, pitch }) {
  const same = STANDARD_VIEWS.find((v) => Math.abs(v.pitch - pitch) < 1 && (Math.abs(v.pitch) === 90 || Math.abs(wrapped(v.yaw - yaw)) < 1));
  if (same) return `From ${same.words}`;
  if (Math.abs(pitch) > 65) return `Nearly from ${pitch > 0 ? "above" : "below"}`;
  const height = pitch > 25 ? ", from above" : pitch < -25 ? ", from below" : "";
  const away = Math.abs(yaw);
  const side = yaw > 0 ? "left" : "right";
  if (away <= 22) return `Near the front${height}`;
  if (away >= 158) return `Near the back${height}`;
  if (away < 68) return `From the front and the ${side}${height}`;
  if (away > 112) return `From the back and the ${side}${height}`;
  return `Near the ${side} side${height}`;
}

/** What is at the left and right of the picture. @param {Orbit} orbit @returns {[string, string]} */
export function edgesInWords({ yaw }) {
  const turn = wrapped(yaw);
  if (Math.abs(turn) <= 45) return ["patient’s right", "patient’s left"];
  if (Math.abs(turn) >= 135) return ["patient’s left", "patient’s right"];
  return turn > 0 ? ["front", "back"] : ["back", "front"];
}

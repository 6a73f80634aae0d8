// @ts-check
// The clock face of a hip: 12 above, 3 in front for either hip. Seen from the side, a right
// hip's hours run like a clock's, a left hip's the other way round.

export const HOURS = 12;

/** `12:30` of 0.5. @param {number} hour */
export function hourWords(hour) {
  const minutes = (Math.round((((hour % HOURS) + HOURS) % HOURS) * 60)) % (HOURS * 60);
  return `${Math.floor(minutes / 60) || HOURS}:${String(minutes % 60).padStart(2, "0")}`;
}

/** In (0, 12]. @param {number} hour */
export function onClock(hour) {
  const turned = ((hour % HOURS) + HOURS) % HOURS;
  return turned === 0 ? HOURS : turned;
}

/**
 * Where an hour stands on a face of that radius around the origin, y downward.
 * @param {number} hour
 * @param {number} radius
 * @param {boolean} mirrored as for a left hip, with 3 at the left
 */
export function spotOf(hour, radius, mirrored) {
  const turn = (hour / HOURS) * 2 * Math.PI;
  return [(mirrored ? -1 : 1) * radius * Math.sin(turn), -radius * Math.cos(turn)];
}

/**
 * The nearest half hour to a spot.
 * @param {number} x
 * @param {number} y
 * @param {boolean} mirrored
 */
export function halfHourAt(x, y, mirrored) {
  const turn = Math.atan2(mirrored ? -x : x, -y);
  return onClock(Math.round((turn / (2 * Math.PI)) * HOURS * 2) / 2);
}

/**
 * How many hours lie between, going from 12 toward the front.
 * @param {number} from
 * @param {number} to
 */
export function hoursBetween(from, to) {
  return (((to - from) % HOURS) + HOURS) % HOURS;
}

/**
 * A ring's piece from one hour to another, as an SVG path.
 * @param {number} from
 * @param {number} to
 * @param {{ inner: number, outer: number, mirrored: boolean }} ring
 */
export function arcPath(from, to, { inner, outer, mirrored }) {
  const hours = hoursBetween(from, to) || HOURS - 1e-3;
  const large = hours > HOURS / 2 ? 1 : 0;
  const sweep = mirrored ? 0 : 1;
  /** @param {number} hour @param {number} radius */
  const spot = (hour, radius) => spotOf(hour, radius, mirrored).map((x) => (Math.round(100 * x) / 100 || 0).toFixed(2)).join(" ");
  const end = from + hours;
  return [
    `M${spot(from, outer)}`,
    `A${outer} ${outer} 0 ${large} ${sweep} ${spot(end, outer)}`,
    `L${spot(end, inner)}`,
    `A${inner} ${inner} 0 ${large} ${1 - sweep} ${spot(from, inner)}Z`,
  ].join("");
}

// @ts-check
// Which landmark is asked for next.

import { keyOf } from "./placed.js";

/** @typedef {import("./placed.js").SideName} SideName */
/** @typedef {{ id: string, name: string, kind: "point" | "circle" | "contour", midline: boolean, definition: string, used: boolean }} Landmark */
/** @typedef {{ key: string, landmark: Landmark, side: SideName }} Step */
/** @typedef {"turns" | "hips" | "left" | "right"} Pass both hips by turns, one hip after the other, or one hip only */

export const FEWEST_CLICKS = { point: 1, circle: 3, contour: 2 };

/**
 * All steps of a pass, in order. Landmarks of the midline are asked for once.
 * @param {readonly Landmark[]} landmarks in reading order
 * @param {readonly SideName[]} sides the case's own hip first
 * @param {Pass} pass
 * @returns {Step[]}
 */
export function stepsOf(landmarks, sides, pass) {
  const wanted = pass === "left" || pass === "right" ? sides.filter((s) => s === pass) : sides;
  const shown = wanted.length > 0 ? wanted : sides;
  /** @param {Landmark} landmark @param {SideName} side @returns {Step} */
  const step = (landmark, side) => ({ key: keyOf(landmark.id, side), landmark, side });
  if (pass === "turns") {
    return landmarks.flatMap((landmark) =>
      landmark.midline ? [step(landmark, null)] : shown.map((side) => step(landmark, side)),
    );
  }
  return shown.flatMap((side, turn) =>
    landmarks
      .filter((landmark) => !landmark.midline || turn === 0)
      .map((landmark) => step(landmark, landmark.midline ? null : side)),
  );
}

/**
 * @param {Landmark} landmark
 * @param {number} clicks
 */
export function isFinished(landmark, clicks) {
  return clicks >= FEWEST_CLICKS[landmark.kind];
}

/**
 * The next step that is open, after the current one and then from the start.
 * @param {readonly Step[]} steps
 * @param {string | null} current
 * @param {(step: Step) => boolean} isOpen
 * @returns {Step | null}
 */
export function nextOpen(steps, current, isOpen) {
  const at = steps.findIndex((step) => step.key === current);
  const around = [...steps.slice(at + 1), ...steps.slice(0, Math.max(at, 0))];
  return around.find(isOpen) ?? null;
}

/**
 * The step before or after, whatever its state; stays at the ends.
 * @param {readonly Step[]} steps
 * @param {string | null} current
 * @param {1 | -1} by
 * @returns {Step | null}
 */
export function neighbor(steps, current, by) {
  if (steps.length === 0) return null;
  const at = steps.findIndex((step) => step.key === current);
  const to = at < 0 ? (by > 0 ? 0 : steps.length - 1) : at + by;
  return steps[Math.min(Math.max(to, 0), steps.length - 1)] ?? null;
}

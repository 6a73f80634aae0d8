// @ts-check
// The shapes of handles: the case's own hip, the other hip and the midline differ in shape,
// outline points are smaller. Every shape has a dark edge, so it is seen on bone and on air.

import { drawn } from "./facts.js";

const OWN = "M0,-7.5A7.5,7.5 0 1 1 0,7.5A7.5,7.5 0 1 1 0,-7.5Z";
const OTHER = "M0,-9L9,0L0,9L-9,0Z";
const MIDLINE = "M0,-8.5L8,6L-8,6Z";
const OUTLINE = "M-4,-4H4V4H-4Z";
const CORNERS = "M-13,-7V-13H-7M7,-13H13V-7M13,7V13H7M-7,13H-13V7";

/**
 * @param {"point" | "circle" | "contour"} kind
 * @param {"left" | "right" | null} side
 * @param {"left" | "right"} caseSide
 */
export function handleShape(kind, side, caseSide) {
  const whole = side === null ? MIDLINE : side === caseSide ? OWN : OTHER;
  const shape = kind === "point" ? whole : OUTLINE;
  return [
    drawn("circle", { r: 14, class: "grip" }),
    drawn("path", { d: CORNERS, class: "corners under" }),
    drawn("path", { d: CORNERS, class: "corners over" }),
    drawn("path", { d: shape, class: "under" }),
    drawn("path", { d: shape, class: "over" }),
    drawn("circle", { r: 1.1, class: "middle" }),
  ];
}

// @ts-check
// The small drawing beside a question: a stylized hip with the asked place marked. Outlines
// come from the catalog, drawn as of a left hip; the other side is its mirror image.

import { drawn } from "./facts.js";

/**
 * @param {HTMLElement} place
 * @param {import("./facts.js").FilmFacts} facts
 * @param {string} landmark
 * @param {"left" | "right" | null} side
 */
export function drawSchematic(place, facts, landmark, side) {
  const { schematic } = facts;
  const spot = schematic?.spots[landmark];
  place.hidden = !spot;
  if (!schematic || !spot) return;
  const svg = drawn("svg", { viewBox: "-4 -4 108 108", "aria-hidden": "true", focusable: "false" });
  const turned = drawn("g", side === "right" ? { transform: "translate(100,0) scale(-1,1)" } : {});
  for (const outline of schematic.outlines) {
    const points = outline.points.map((p) => p.join(",")).join(" ");
    turned.append(drawn(outline.closed ? "polygon" : "polyline", { points, class: "bone" }));
  }
  const [first = [0, 0]] = spot.places;
  if (spot.radius > 0) {
    turned.append(drawn("circle", { cx: first[0], cy: first[1], r: spot.radius, class: "spot line" }));
  } else if (spot.places.length > 1) {
    turned.append(drawn("polyline", { points: spot.places.map((p) => p.join(",")).join(" "), class: "spot line" }));
  } else {
    turned.append(drawn("circle", { cx: first[0], cy: first[1], r: 4.5, class: "spot" }));
  }
  svg.append(turned);
  place.replaceChildren(svg);
}

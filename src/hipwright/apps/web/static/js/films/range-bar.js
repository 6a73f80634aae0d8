// @ts-check
// The small bar under a value: its classes, the value and its interval, laid out by the server.

import { drawn } from "./facts.js";

const LONG = 292;
const EDGE = 4;

/** @param {number} share */
function at(share) {
  return (EDGE + LONG * share).toFixed(2);
}

/**
 * @param {import("./facts.js").Bar} bar
 * @returns {SVGElement}
 */
export function rangeBar(bar) {
  const svg = drawn("svg", { class: "range-bar", viewBox: "0 4 300 16", role: "img", "aria-label": bar.label });
  bar.bands.forEach(([name, low, high], index) => {
    const isLast = index === bar.bands.length - 1;
    const isHere = low <= bar.value && (bar.value < high || isLast);
    const rect = drawn("rect", {
      class: `band${isHere ? " here" : index % 2 === 0 ? " odd" : ""}`,
      x: at(low), y: 7, width: Math.max(LONG * (high - low) - 1, 0.5).toFixed(2), height: 10,
    });
    rect.append(drawn("title", {}, name));
    svg.append(rect);
  });
  const whisker = `M${at(bar.low)} 12H${at(bar.high)}M${at(bar.low)} 9v6M${at(bar.high)} 9v6`;
  svg.append(drawn("path", { class: "whisker", d: whisker }), drawn("circle", { class: "value", cx: at(bar.value), cy: 12, r: 4.2 }));
  return svg;
}

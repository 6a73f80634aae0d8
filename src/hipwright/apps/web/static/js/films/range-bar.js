// @ts-check
// The small bar under a value: its classes, the value and its interval, laid out by the server.

import { drawn } from "./facts.js";

const LONG = 200;
const HIGH = 14;

/**
 * @param {import("./facts.js").Bar} bar
 * @returns {SVGElement}
 */
export function rangeBar(bar) {
  const svg = drawn("svg", {
    class: "range-bar", viewBox: `0 0 ${LONG} ${HIGH}`, preserveAspectRatio: "none", role: "img", "aria-label": bar.label,
  });
  bar.bands.forEach(([name, start, end], index) => {
    const band = drawn("rect", {
      x: start * LONG, y: 4, width: Math.max((end - start) * LONG - 1, 0), height: 6, class: `band-${index % 3}`,
    });
    band.append(drawn("title", {}, name));
    svg.append(band);
  });
  svg.append(
    drawn("line", { x1: bar.low * LONG, x2: bar.high * LONG, y1: 7, y2: 7, class: "whisker" }),
    drawn("line", { x1: bar.low * LONG, x2: bar.low * LONG, y1: 3, y2: 11, class: "whisker" }),
    drawn("line", { x1: bar.high * LONG, x2: bar.high * LONG, y1: 3, y2: 11, class: "whisker" }),
    drawn("rect", { x: bar.value * LONG - 2, y: 1, width: 4, height: 12, rx: 1, class: "value" }),
  );
  return svg;
}

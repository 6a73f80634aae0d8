// @ts-check
// The papers of the chosen measurement: construction, baseline, ranges, sources, pitfalls.

import { made } from "./facts.js";

/** @typedef {import("./facts.js").Source} Source */
/** @typedef {import("./facts.js").Measurement} Measurement */
/** @typedef {import("./facts.js").Row} Row */

/**
 * @param {HTMLElement} panel
 * @param {Measurement | null} measurement
 * @param {Row | null} row
 */
export function paintAbout(panel, measurement, row) {
  panel.hidden = measurement === null;
  if (measurement === null) return;
  const baseline = row?.baseline ? pair("Leveled by", row.baseline) : null;
  const reason = row?.reason ? pair("Not measured", row.reason) : null;
  panel.replaceChildren(
    made("h2", {}, measurement.name),
    made("p", {}, measurement.construction, measurement.sign ? ` It is ${measurement.sign}.` : ""),
    made("dl", { class: "pairs" }, reason, baseline),
    ...measurement.ranges.map(rangeWords),
    ...listing("Seen in people", measurement.population.map((p) => [p.text, [p.source]])),
    ...listing("How well readers repeat it", measurement.repeatability.map((r) => [r.text, [r.source]])),
    ...listing("Pitfalls", measurement.pitfalls.map((p) => [p.text, p.sources])),
    made("h3", {}, "Defined by"),
    made("ul", { role: "list", class: "sources" }, ...measurement.sources.map((s) => made("li", {}, sourceWords(s)))),
  );
}

/** @param {string} label @param {string} words */
function pair(label, words) {
  return made("div", {}, made("dt", {}, label), made("dd", {}, words));
}

/** @param {import("./facts.js").Range} range */
function rangeWords(range) {
  const variant = range.variant === "this" ? "" : range.variant === "unstated"
    ? " The source does not say which variant it measured." : ` Measured on ${range.variant}.`;
  return made("div", { class: "range" },
    made("h3", {}, range.scheme, range.used ? made("span", { class: "tag" }, "used for the class") : null),
    made("ul", { role: "list" }, ...range.bands.map((band) => made("li", {}, band))),
    made("p", { class: "small soft" }, `${range.note}${variant}`.trim()),
    made("p", { class: "sources" }, sourceWords(range.source)));
}

/** @param {string} title @param {[string, Source[]][]} rows */
function listing(title, rows) {
  if (rows.length === 0) return [];
  const items = rows.map(([text, sources]) =>
    made("li", {}, text, ...sources.map((s) => made("small", { class: "sources" }, " ", sourceWords(s)))));
  return [made("h3", {}, title), made("ul", {}, ...items)];
}

/** @param {Source} source */
function sourceWords(source) {
  const how = source.firstHand ? "read in full" : `seen: ${source.seen}`;
  return made("span", {}, `${source.text} ${source.identifier} `, made("i", {}, `[${how}]`));
}

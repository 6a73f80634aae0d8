// @ts-check
// What the server tells about a film, and the shapes that travel.

/** @typedef {import("../lib/placed.js").Item} Item */
/** @typedef {import("../lib/placed.js").SideName} SideName */
/** @typedef {import("../lib/film-transform.js").Place} Place */
/** @typedef {{ text: string, identifier: string, seen: string, firstHand: boolean }} Source */
/** @typedef {{ scheme: string, bands: string[], variant: string, source: Source, note: string, used: boolean }} Range */
/**
 * @typedef {object} Measurement
 * @property {string} id
 * @property {string} name
 * @property {string} abbreviation
 * @property {string} group
 * @property {boolean} midline
 * @property {string[]} landmarks
 * @property {string} construction
 * @property {string} sign
 * @property {Range[]} ranges
 * @property {{ text: string, source: Source }[]} population
 * @property {{ text: string, source: Source }[]} repeatability
 * @property {{ text: string, sources: Source[] }[]} pitfalls
 * @property {Source[]} sources
 */
/** @typedef {{ observer: string, reading: number, version: number, savedAt: string, count: number }} ReadingFacts */
/** @typedef {ReadingFacts & { items: Item[] }} KeptReading */
/** @typedef {{ calibrated: boolean, source: string, note: string, spacing: string, doubt: string, magnification: number | null }} Scale */
/** @typedef {import("../lib/guide-order.js").Landmark & { title: string }} Landmark */
/** @typedef {{ places: Place[], radius: number }} Spot */
/** @typedef {{ outlines: { points: Place[], closed: boolean }[], spots: Record<string, Spot> }} Schematic */
/**
 * @typedef {object} FilmFacts
 * @property {string} image
 * @property {number} version
 * @property {string} sha256
 * @property {number} columns
 * @property {number} rows
 * @property {number} aspect
 * @property {string} view
 * @property {string} viewName
 * @property {("left" | "right")[]} sides the case's own hip first
 * @property {"left" | "right"} caseSide
 * @property {string | null} case
 * @property {Landmark[]} landmarks in reading order
 * @property {Measurement[]} measurements
 * @property {Scale} scale
 * @property {Schematic | null} schematic
 */
/**
 * @typedef {object} ReadingPart
 * @property {string | null} observer
 * @property {number} reading
 * @property {KeptReading | null} current the session's own
 * @property {KeptReading | null} lookedAt somebody else's, shown and not changed
 * @property {ReadingFacts[]} readings
 * @property {{ image: string, name: string }[]} others
 * @property {string | null} beside
 */
/** @typedef {FilmFacts & ReadingPart} ScreenFacts */
/** @typedef {{ bands: [string, number, number][], value: number, low: number, high: number, label: string }} Bar */
/** @typedef {{ words: string, split: boolean, scheme: string, variant: string, seen: string, source: string, settles: string }} ClassWords */
/**
 * @typedef {object} Row
 * @property {string} id
 * @property {SideName} side
 * @property {string} [reason]
 * @property {string[]} [missing]
 * @property {number} [value]
 * @property {string} [text]
 * @property {string} [interval]
 * @property {string} [baseline]
 * @property {string[]} [notes]
 * @property {string} [quality]
 * @property {ClassWords | null} [class]
 * @property {Bar | null} [bar]
 */
/** @typedef {{ kind: "line" | "arc" | "circle", stroke: string, xy: Place[] } | { kind: "label", at: Place, text: string }} Mark */
/** @typedef {{ id: string, side: SideName, xy: Place[] }} FittedCircle */
/** @typedef {{ id: string, side: SideName, message: string }} Problem */
/**
 * @typedef {object} Answer
 * @property {number} seq
 * @property {Row[]} [rows]
 * @property {Mark[]} [marks]
 * @property {FittedCircle[]} [circles]
 * @property {Problem[]} [problems]
 * @property {import("./trust-panel.js").Trust} [trust]
 * @property {{ code: string, message: string }} [error]
 */

/** @returns {ScreenFacts} */
export function readFacts() {
  return JSON.parse(document.getElementById("film-facts")?.textContent ?? "null");
}

/** @param {SideName} side */
export function sideWord(side) {
  return side ?? "midline";
}

export { drawn, made, part } from "../lib/elements.js";

// @ts-check
// What the server says of the bones, and how this screen asks for more.

/** @typedef {import("../lib/orbit.js").Vector} Vector */
/** @typedef {"left" | "right"} SideName */
/** @typedef {{ id: string, words: string, address: string, color: string, side: SideName | null, kind: string, part: string }} BoneFacts */
/** @typedef {{ case: string, side: SideName, query: string, version: number, observer: string | null, bones: BoneFacts[] }} ScreenFacts */
/** @typedef {{ share: number, text: string }} Tick */
/** @typedef {{ id: string, name: string, about: string, low: string, high: string, ticks: Tick[], addresses: Record<string, string> }} Legend */
/** @typedef {{ key: string, id: string, side: SideName | null, name: string, definition: string, at: Vector, moved: boolean, movable: boolean }} Landmark */
/** @typedef {{ version: number, heads: Partial<Record<SideName, Vector>>, maps: Legend[], landmarks: Landmark[] }} SceneFacts */
/** @typedef {{ definition: string, side: SideName, label: string, points: { name: string, at: Vector }[], lines: { name: string, points: Vector[], dashed: boolean }[], back: Vector | null, level: boolean }} Construction */
/** @typedef {{ definition: string, side: SideName, hour: number | null }} Chosen */

/** @returns {ScreenFacts} */
export function readFacts() {
  return JSON.parse(document.getElementById("bone-facts")?.textContent ?? "null");
}

/** The page's own address of a part. @param {ScreenFacts} facts @param {string} part @param {Record<string, string>} [more] */
export function addressOf(facts, part, more = {}) {
  const query = new URLSearchParams(facts.query);
  for (const [name, value] of Object.entries(more)) query.set(name, value);
  return `/bones/${facts.case}/${part}?${query}`;
}

/** From now on everything is asked for this reader's version. @param {ScreenFacts} facts @param {string} observer @param {number} version */
export function followReading(facts, observer, version) {
  const query = new URLSearchParams(facts.query);
  query.set("by", observer);
  query.set("version", String(version));
  facts.query = query.toString();
  facts.observer = observer;
  facts.version = version;
}

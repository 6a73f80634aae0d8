// @ts-check
// The landmarks that are placed, as a map that is never changed, only replaced.

/** @typedef {import("./film-transform.js").Place} Place */
/** @typedef {"left" | "right" | null} SideName */
/** @typedef {{ id: string, side: SideName, xy: readonly Place[], sd?: number | null }} Item */
/** @typedef {ReadonlyMap<string, Item>} Placed */

/**
 * @param {string} id
 * @param {SideName} side
 */
export function keyOf(id, side) {
  return side === null ? id : `${id}@${side}`;
}

/**
 * @param {string} key
 * @returns {{ id: string, side: SideName }}
 */
export function fromKey(key) {
  const [id = "", side] = key.split("@");
  return { id, side: side === "left" || side === "right" ? side : null };
}

/**
 * @param {Iterable<Item>} items
 * @returns {Placed}
 */
export function placedFrom(items) {
  return new Map([...items].map((item) => [keyOf(item.id, item.side), item]));
}

/**
 * @param {Placed} placed
 * @param {Item} item
 * @returns {Placed} without the landmark if no click is left
 */
export function withItem(placed, item) {
  const next = new Map(placed);
  const key = keyOf(item.id, item.side);
  if (item.xy.length === 0) next.delete(key);
  else next.set(key, item);
  return next;
}

/**
 * @param {Placed} placed
 * @param {string} key
 * @returns {Placed}
 */
export function without(placed, key) {
  const next = new Map(placed);
  next.delete(key);
  return next;
}

/**
 * @param {readonly Place[]} xy
 * @param {number} index
 * @param {Place} place
 * @returns {Place[]}
 */
export function withVertex(xy, index, place) {
  return xy.map((old, i) => (i === index ? place : old));
}

/**
 * @param {readonly Place[]} xy
 * @param {number} index the new vertex comes before this one
 * @param {Place} place
 * @returns {Place[]}
 */
export function withVertexBefore(xy, index, place) {
  return [...xy.slice(0, index), place, ...xy.slice(index)];
}

/**
 * @param {readonly Place[]} xy
 * @param {number} index
 * @returns {Place[]}
 */
export function withoutVertex(xy, index) {
  return xy.filter((_, i) => i !== index);
}

/**
 * What has to be told so that somebody who knows `before` knows `now`.
 * @param {Placed} before
 * @param {Placed} now
 * @returns {{ items: Item[], dropped: { id: string, side: SideName }[] }}
 */
export function difference(before, now) {
  const items = [...now].filter(([key, item]) => before.get(key) !== item).map(([, item]) => item);
  const dropped = [...before.keys()].filter((key) => !now.has(key)).map(fromKey);
  return { items, dropped };
}

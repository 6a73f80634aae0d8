import assert from "node:assert/strict";
import { test } from "node:test";
import { neighbor, nextOpen, stepsOf } from "../../../../../src/hipwright/apps/web/static/js/lib/guide-order.js";
import * as placed from "../../../../../src/hipwright/apps/web/static/js/lib/placed.js";
import { mergedChange } from "../../../../../src/hipwright/apps/web/static/js/films/live-numbers.js";

const landmark = (/** @type {string} */ id, midline = false) =>
  ({ id, name: id, kind: /** @type {const} */ ("point"), midline, definition: "", used: true });
const landmarks = [landmark("head"), landmark("symphysis", true), landmark("roof")];

test("both hips by turns, the midline once, the case's own hip first", () => {
  assert.deepEqual(stepsOf(landmarks, ["right", "left"], "turns").map((s) => s.key),
    ["head@right", "head@left", "symphysis", "roof@right", "roof@left"]);
});

test("one hip after the other, or one hip only", () => {
  assert.deepEqual(stepsOf(landmarks, ["right", "left"], "hips").map((s) => s.key),
    ["head@right", "symphysis", "roof@right", "head@left", "roof@left"]);
  assert.deepEqual(stepsOf(landmarks, ["right", "left"], "left").map((s) => s.key),
    ["head@left", "symphysis", "roof@left"]);
  assert.equal(stepsOf(landmarks, ["right"], "left").length, 3);
});

test("the next open step comes after the current one, then from the start", () => {
  const steps = stepsOf(landmarks, ["left"], "hips");
  const open = new Set(["head@left", "roof@left"]);
  assert.equal(nextOpen(steps, "symphysis", (s) => open.has(s.key))?.key, "roof@left");
  assert.equal(nextOpen(steps, "roof@left", (s) => open.has(s.key))?.key, "head@left");
  assert.equal(nextOpen(steps, null, () => false), null);
});

test("going back and forth stops at the ends", () => {
  const steps = stepsOf(landmarks, ["left"], "hips");
  assert.equal(neighbor(steps, "head@left", -1)?.key, "head@left");
  assert.equal(neighbor(steps, null, 1)?.key, "head@left");
  assert.equal(neighbor([], null, 1), null);
});

test("keys keep id and side", () => {
  for (const side of /** @type {const} */ (["left", "right", null])) {
    assert.deepEqual(placed.fromKey(placed.keyOf("teardrop", side)), { id: "teardrop", side });
  }
});

test("a difference tells exactly what changed", () => {
  const before = placed.placedFrom([{ id: "a", side: null, xy: [[1, 2]] }, { id: "b", side: "left", xy: [[3, 4]] }]);
  const now = placed.withItem(placed.without(before, "b@left"), { id: "c", side: "right", xy: [[5, 6]] });
  const told = placed.difference(before, now);
  assert.deepEqual(told.items.map((i) => i.id), ["c"]);
  assert.deepEqual(told.dropped, [{ id: "b", side: "left" }]);
  assert.equal(before.size, 2);
});

test("a landmark without clicks is gone, vertices come and go in order", () => {
  assert.equal(placed.withItem(new Map(), { id: "a", side: null, xy: [] }).size, 0);
  const xy = /** @type {[number, number][]} */ ([[0, 0], [1, 1]]);
  assert.deepEqual(placed.withVertexBefore(xy, 1, [9, 9]), [[0, 0], [9, 9], [1, 1]]);
  assert.deepEqual(placed.withoutVertex(xy, 0), [[1, 1]]);
  assert.deepEqual(placed.withVertex(xy, 1, [5, 5]), [[0, 0], [5, 5]]);
});

test("merged changes say what the last of them would", () => {
  const item = (/** @type {number} */ x) => ({ id: "a", side: null, xy: /** @type {[number, number][]} */ ([[x, 0]]) });
  const moved = { items: [item(1)], dropped: [], chosen: null, all: false };
  const gone = { items: [], dropped: [{ id: "a", side: null }], chosen: null, all: false };
  assert.deepEqual(mergedChange(moved, gone), gone);
  assert.deepEqual(mergedChange(gone, moved), moved);
  assert.deepEqual(mergedChange({ ...moved, all: true }, gone).items, []);
  assert.equal(mergedChange({ ...moved, all: true }, gone).all, true);
});

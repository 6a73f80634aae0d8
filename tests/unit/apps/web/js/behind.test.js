// What bone hides: a wall of vertices 1 mm apart between the eye and some places.

import assert from "node:assert/strict";
import { test } from "node:test";
import { areBehind } from "../../../../../src/hipwright/apps/web/static/js/lib/behind.js";

const wall = new Float32Array(41 * 41 * 3);
for (let row = 0; row < 41; row += 1) {
  for (let column = 0; column < 41; column += 1) wall.set([column - 20, 0, row - 20], 3 * (41 * row + column));
}
const EYE = [0, -500, 0];

test("a place behind the wall is hidden, one before it or beside it is not", () => {
  assert.deepEqual(areBehind(EYE, [[3, 40, 2], [3, -40, 2], [60, 40, 2]], [wall]), [true, false, false]);
});

test("a place on the wall or just below its surface is seen", () => {
  assert.deepEqual(areBehind(EYE, [[0, 0, 0], [5, 3, 5]], [wall]), [false, false]);
});

test("what lies behind the eye hides nothing", () => {
  assert.deepEqual(areBehind([0, 20, 0], [[0, 100, 0]], [wall]), [false]);
});

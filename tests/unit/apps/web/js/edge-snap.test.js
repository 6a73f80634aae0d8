import assert from "node:assert/strict";
import { test } from "node:test";
import { strongestEdge } from "../../../../../src/hipwright/apps/web/static/js/lib/edge-snap.js";

const SIDE = 80;

/** @param {(x: number, y: number) => number} shade */
function picture(shade) {
  const values = new Uint16Array(SIDE * SIDE);
  for (let y = 0; y < SIDE; y += 1) for (let x = 0; x < SIDE; x += 1) values[y * SIDE + x] = shade(x, y);
  return { values, columns: SIDE, rows: SIDE };
}

/** A grain that repeats, so that the test does. @param {number} x @param {number} y */
const grain = (x, y) => ((x * 7919 + y * 104729) % 17) - 8;

test("a place near a straight edge goes onto it", () => {
  const gray = picture((x, y) => (x < 40 ? 500 : 1500) + grain(x, y));
  const [x, y] = strongestEdge(gray, [45, 33.4], 9) ?? [0, 0];
  assert.ok(Math.abs(x - 39.5) < 1.01, `${x}`);
  assert.ok(Math.abs(y - 33.4) < 5);
});

test("a blurred edge is found between pixels", () => {
  const gray = picture((x) => 1000 + 900 * Math.tanh((x - 37.3) / 3));
  const [x] = strongestEdge(gray, [41, 40], 10) ?? [0, 0];
  assert.ok(Math.abs(x - 37.3) < 0.3, `${x}`);
});

test("a round outline is met from inside and outside at its radius", () => {
  const gray = picture((x, y) => 1000 + 900 * Math.tanh((Math.hypot(x - 40, y - 40) - 22) / 2));
  for (const from of [17, 27]) {
    const place = strongestEdge(gray, [40 + from * Math.SQRT1_2, 40 - from * Math.SQRT1_2], 9) ?? [0, 0];
    assert.ok(Math.abs(Math.hypot(place[0] - 40, place[1] - 40) - 22) < 1.1);
  }
});

test("where nothing stands out nothing is found", () => {
  assert.equal(strongestEdge(picture(grain.bind(null)), [40, 40], 8), null);
  assert.equal(strongestEdge(picture(() => 700), [40, 40], 8), null);
});

test("a place at the picture's corner is no trouble", () => {
  assert.equal(strongestEdge(picture(() => 700), [-0.5, -0.5], 8), null);
});

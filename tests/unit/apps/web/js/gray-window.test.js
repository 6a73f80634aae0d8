import assert from "node:assert/strict";
import { test } from "node:test";
import { brightnessTable, halved, usualRange } from "../../../../../src/hipwright/apps/web/static/js/lib/gray-window.js";

test("the window maps its ends to black and white and its center to the middle", () => {
  const table = brightnessTable({ center: 1000, width: 400 }, false);
  assert.deepEqual([table[800], table[1000], table[1200]], [0, 128, 255]);
  assert.deepEqual([table[0], table[65535]], [0, 255]);
});

test("inverting mirrors the brightness", () => {
  const plain = brightnessTable({ center: 1000, width: 400 }, false);
  const inverted = brightnessTable({ center: 1000, width: 400 }, true);
  for (const value of [0, 850, 990, 1130, 4000]) assert.ok(Math.abs(plain[value] + inverted[value] - 255) <= 1);
});

test("the usual range leaves out a few extreme pixels", () => {
  const values = Uint16Array.from({ length: 10_000 }, (_, i) => 1000 + (i % 500));
  values[0] = 65535;
  values[1] = 0;
  const { low, high } = usualRange(values);
  assert.ok(low >= 1000 && high <= 1499);
});

test("a picture is halved by means, odd edges included", () => {
  const small = halved(Uint16Array.from([1, 3, 9, 5, 7, 9]), 3, 2);
  assert.deepEqual([small.columns, small.rows, [...small.values]], [1, 1, [4]]);
  const line = halved(Uint16Array.from([10, 20]), 1, 2);
  assert.deepEqual([...line.values], [15]);
});

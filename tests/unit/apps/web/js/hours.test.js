import assert from "node:assert/strict";
import { test } from "node:test";
import { arcPath, halfHourAt, hourWords, hoursBetween, onClock, spotOf } from "../../../../../src/hipwright/apps/web/static/js/lib/hours.js";

test("hours are written as a clock shows them", () => {
  assert.deepEqual([12, 0.5, 2.25, 6, 17.5, -1].map(hourWords), ["12:00", "12:30", "2:15", "6:00", "5:30", "11:00"]);
  assert.deepEqual([0, 12, 12.5, -0.5].map(onClock), [12, 12, 0.5, 11.5]);
});

test("three is at the right of a right hip's face and at the left of a left hip's", () => {
  const [x, y] = spotOf(3, 10, false);
  assert.ok(Math.abs(x - 10) < 1e-9 && Math.abs(y) < 1e-9);
  assert.ok(Math.abs(spotOf(3, 10, true)[0] + 10) < 1e-9);
  assert.ok(Math.abs(spotOf(12, 10, true)[1] + 10) < 1e-9);
});

test("a spot leads back to its half hour on either face", () => {
  for (const mirrored of [false, true]) {
    for (const hour of [12, 0.5, 2, 4.5, 9, 11.5]) {
      const [x, y] = spotOf(hour + 0.1, 50, mirrored);
      assert.equal(halfHourAt(x, y, mirrored), hour);
    }
  }
});

test("hours are counted over twelve", () => {
  assert.equal(hoursBetween(11, 2), 3);
  assert.equal(hoursBetween(0.5, 2.5), 2);
});

test("an arc over half the face takes the long way", () => {
  const ring = { inner: 10, outer: 20, mirrored: false };
  assert.match(arcPath(12, 3, ring), /^M0\.00 -20\.00A20 20 0 0 1 20\.00 0\.00L10\.00/);
  assert.match(arcPath(3, 12, ring), /A20 20 0 1 1 /);
  assert.match(arcPath(12, 3, { ...ring, mirrored: true }), /A20 20 0 0 0 -20\.00/);
});

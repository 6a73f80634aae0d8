import assert from "node:assert/strict";
import { test } from "node:test";
import { boxAround, readMesh } from "../../../../../src/hipwright/apps/web/static/js/lib/bone-mesh.js";
import { STOPS, colorAt, rampBytes } from "../../../../../src/hipwright/apps/web/static/js/lib/color-ramp.js";

function triangle() {
  const buffer = new ArrayBuffer(8 + 36 + 12);
  new Uint32Array(buffer, 0, 2).set([3, 1]);
  new Float32Array(buffer, 8, 9).set([0, 0, 0, 1, 0, 0, 0, 2, -3]);
  new Uint32Array(buffer, 44, 3).set([0, 1, 2]);
  return buffer;
}

test("a surface is read as it was written", () => {
  const { positions, indices } = readMesh(triangle());
  assert.deepEqual([...positions], [0, 0, 0, 1, 0, 0, 0, 2, -3]);
  assert.deepEqual([...indices], [0, 1, 2]);
});

test("a surface that was cut off on its way is refused", () => {
  assert.throws(() => readMesh(triangle().slice(0, 40)), /40 bytes in place of 56/);
  assert.throws(() => readMesh(new ArrayBuffer(4)), /without its sizes/);
});

test("the box around surfaces holds all corners", () => {
  const { positions } = readMesh(triangle());
  assert.deepEqual(boxAround([positions, new Float32Array([5, 5, 5])]), { low: [0, 0, -3], high: [5, 5, 5] });
  assert.deepEqual(boxAround([]), { low: [-100, -100, -100], high: [100, 100, 100] });
});

test("the ramp grows lighter all along, so that it reads without color too", () => {
  const bytes = rampBytes();
  const light = (/** @type {number} */ n) => 0.2126 * (bytes[4 * n] ?? 0) + 0.7152 * (bytes[4 * n + 1] ?? 0) + 0.0722 * (bytes[4 * n + 2] ?? 0);
  for (let n = 4; n < 256; n += 4) assert.ok(light(n) > light(n - 4), `darker at ${n}`);
});

test("the ramp's stops are viridis at eighths", () => {
  // matplotlib's viridis (CC0): first, middle and last color
  assert.deepEqual(colorAt(0), [0x44, 0x01, 0x54]);
  assert.deepEqual(colorAt(0.5), [0x21, 0x91, 0x8c]);
  assert.deepEqual(colorAt(2), [0xfd, 0xe7, 0x25]);
  assert.equal(STOPS.length, 9);
});

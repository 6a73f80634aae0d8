import assert from "node:assert/strict";
import { test } from "node:test";
import { aspectOf, discInView, pixelAt, placeAt, placeWords, scaleBar } from "../../../../../src/hipwright/apps/web/static/js/lib/slice-geometry.js";

const AXIAL = {
  direction: "axial", columns: 100, rows: 80, count: 50,
  origin: [-50, -40, -60], right: [1, 0, 0], down: [0, 0.8, 0], through: [0, 0, 2],
  letters: { left: "R", right: "L", top: "A", bottom: "P" }, stepMm: 2, exact: true,
};
const TURNED = { ...AXIAL, right: [0.8, 0.6, 0], down: [-0.6, 0.8, 0], through: [0, 0.3, 2] };

test("a pixel's place leads back to the pixel, also in a turned and sheared stack", () => {
  for (const view of [AXIAL, TURNED]) {
    const place = placeAt(view, 7, [12.5, 30]);
    const { pixel, index } = pixelAt(view, place);
    assert.ok(Math.abs(pixel[0] - 12.5) < 1e-9 && Math.abs(pixel[1] - 30) < 1e-9 && Math.abs(index - 7) < 1e-9);
  }
  assert.deepEqual(placeAt(AXIAL, 1, [2, 5]), [-48, -36, -58]);
});

test("pixels that are not square are told", () => {
  assert.ok(Math.abs(aspectOf(AXIAL) - 0.8) < 1e-12);
});

test("the longest round length that fits is drawn", () => {
  assert.deepEqual(scaleBar(0.5, 100), { mm: 50, pixels: 100 });
  assert.deepEqual(scaleBar(0.5, 99), { mm: 20, pixels: 40 });
  assert.equal(scaleBar(0.01, 10).mm, 1);
});

test("a disc meets a picture in a line that is shorter away from its middle", () => {
  const disc = { center: [0, 0, 0], normal: [1, 0, 0], radius: 10 };
  const middle = discInView(disc, AXIAL, 30);
  assert.ok(middle);
  const [a, b] = middle;
  assert.ok(Math.abs(a[0] - 50) < 1e-9 && Math.abs(b[0] - 50) < 1e-9);
  assert.ok(Math.abs(Math.abs(a[1] - b[1]) * 0.8 - 20) < 1e-9);
  const off = discInView(disc, AXIAL, 33);
  assert.ok(off && Math.abs(Math.abs(off[0][1] - off[1][1]) * 0.8 - 16) < 1e-9);
  assert.equal(discInView(disc, AXIAL, 36), null);
  assert.equal(discInView({ ...disc, normal: [0, 0, 1] }, AXIAL, 30), null);
});

test("a slanted disc is met where it is", () => {
  const slope = Math.SQRT1_2;
  const disc = { center: [0, 0, 0], normal: [slope, 0, slope], radius: 10 };
  const ends = discInView(disc, AXIAL, 31);
  assert.ok(ends);
  // At z = 2 the disc's plane x + z = 0 lies at x = -2.
  assert.ok(ends.every(([column]) => Math.abs(column - 48) < 1e-9));
});

test("a place is told by the patient's directions", () => {
  assert.equal(placeWords([-84.2, 3, 0]), "R 84  P 3  H 0");
});

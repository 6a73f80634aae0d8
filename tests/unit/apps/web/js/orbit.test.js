import assert from "node:assert/strict";
import { test } from "node:test";
import * as orbit from "../../../../../src/hipwright/apps/web/static/js/lib/orbit.js";

/** @type {import("../../../../../src/hipwright/apps/web/static/js/lib/orbit.js").Orbit} */
const FRONT = { yaw: 0, pitch: 0, distance: 800, target: [1, 2, 3] };

/** @param {readonly number[]} got @param {readonly number[]} wanted */
function close(got, wanted) {
  got.forEach((x, n) => assert.ok(Math.abs(x - (wanted[n] ?? NaN)) < 1e-9, `${got} in place of ${wanted}`));
}

test("from the front the patient's left is at the right and the head end up", () => {
  const { eye, right, up } = orbit.basisOf(FRONT);
  close(eye, [1, -798, 3]);
  close(right, [1, 0, 0]);
  close(up, [0, 0, 1]);
});

test("from below the front is up and the patient's left at the right, as on an axial slice", () => {
  const { right, up } = orbit.basisOf({ ...FRONT, pitch: -90 });
  close(right, [1, 0, 0]);
  close(up, [0, -1, 0]);
});

test("the eye's axes are at right angles and right-handed wherever one stands", () => {
  for (const [yaw, pitch] of [[33, 12], [-120, 70], [180, -90], [90, 0]]) {
    const { right, up, back } = orbit.basisOf({ ...FRONT, yaw: yaw ?? 0, pitch: pitch ?? 0 });
    const [x, y, z] = right;
    close([x * up[0] + y * up[1] + z * up[2], Math.hypot(...up), Math.hypot(...back)], [0, 1, 1]);
    close([y * up[2] - z * up[1], z * up[0] - x * up[2], x * up[1] - y * up[0]], back);
  }
});

test("turning stops above and below and runs around the long axis", () => {
  assert.equal(orbit.turned(FRONT, 0, 130).pitch, 90);
  assert.equal(orbit.turned({ ...FRONT, yaw: 170 }, 20, 0).yaw, -170);
});

test("panning moves what is seen with the pointer", () => {
  const mm = orbit.mmPerPixel(FRONT, 600);
  close(orbit.panned(FRONT, [10, 0], 600).target, [1 - 10 * mm, 2, 3]);
  close(orbit.panned(FRONT, [0, 10], 600).target, [1, 2, 3 + 10 * mm]);
});

test("zooming keeps within what can be seen", () => {
  assert.equal(orbit.zoomed(FRONT, 2).distance, 400);
  assert.equal(orbit.zoomed(FRONT, 1e6).distance, 60);
});

test("a box fills the picture's height or, on a narrow one, its width", () => {
  const low = /** @type {[number, number, number]} */ ([-50, -1, -200]);
  const high = /** @type {[number, number, number]} */ ([50, 1, 200]);
  const wide = orbit.fittedBox(FRONT, low, high, 1.5);
  const seen = 2 * wide.distance * Math.tan((orbit.FIELD_DEG / 2) * (Math.PI / 180));
  assert.ok(seen > 400 && seen < 450);
  assert.ok(orbit.fittedBox(FRONT, low, high, 0.1).distance > 2 * wide.distance);
  close(wide.target, [0, 0, 0]);
});

test("a ball is seen whole", () => {
  const near = orbit.fitted(FRONT, [0, 0, 0], 80, 1.4);
  assert.ok(near.distance * Math.sin((orbit.FIELD_DEG / 2) * (Math.PI / 180)) > 80);
});

test("the way between two views is the shorter one and ends where it should", () => {
  const to = { ...FRONT, yaw: -170 };
  assert.equal(orbit.between({ ...FRONT, yaw: 170 }, to, 0.5).yaw, 180);
  assert.deepEqual(orbit.between(FRONT, to, 1), to);
  assert.deepEqual(orbit.between(FRONT, to, 0), FRONT);
});

test("looking along a direction finds its yaw and pitch", () => {
  for (const [yaw, pitch] of [[0, 0], [90, 10], [-150, -35]]) {
    const { back } = orbit.basisOf({ ...FRONT, yaw: yaw ?? 0, pitch: pitch ?? 0 });
    const found = orbit.towardEye(back);
    close([found.yaw, found.pitch], [yaw ?? 0, pitch ?? 0]);
  }
  assert.deepEqual(orbit.towardEye([0, 0, -1]), { yaw: 0, pitch: -90 });
});

test("where one stands is told in words", () => {
  const words = (/** @type {number} */ yaw, /** @type {number} */ pitch) => orbit.viewInWords({ ...FRONT, yaw, pitch });
  assert.equal(words(0, 0), "From the front");
  assert.equal(words(180, 0), "From the back");
  assert.equal(words(-180, 0), "From the back");
  assert.equal(words(17, -90), "From below");
  assert.equal(words(17, -86), "Nearly from below");
  assert.equal(words(40, 0), "From the front and the left");
  assert.equal(words(-130, 40), "From the back and the right, from above");
  assert.equal(words(85, 5), "Near the left side");
  assert.equal(words(5, -30), "Near the front, from below");
  assert.equal(words(170, 5), "Near the back");
});

test("the edges of the picture are named", () => {
  assert.deepEqual(orbit.edgesInWords(FRONT), ["patient’s right", "patient’s left"]);
  assert.deepEqual(orbit.edgesInWords({ ...FRONT, yaw: 180 }), ["patient’s left", "patient’s right"]);
  assert.deepEqual(orbit.edgesInWords({ ...FRONT, yaw: 90 }), ["front", "back"]);
  assert.deepEqual(orbit.edgesInWords({ ...FRONT, yaw: -90 }), ["back", "front"]);
});

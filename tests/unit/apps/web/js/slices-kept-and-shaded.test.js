import assert from "node:assert/strict";
import { test } from "node:test";
import { KeptPictures } from "../../../../../src/hipwright/apps/web/static/js/lib/kept-pictures.js";
import { shaded } from "../../../../../src/hipwright/apps/web/static/js/lib/shaded-slice.js";

test("the picture longest unused goes first, and the newest always stays", () => {
  const kept = new KeptPictures(20);
  kept.put("a", new Uint8Array(8));
  kept.put("b", new Uint8Array(8));
  kept.get("a");
  kept.put("c", new Uint8Array(8));
  assert.deepEqual(["a", "b", "c"].map((key) => kept.has(key)), [true, false, true]);
  assert.equal(kept.bytes, 16);
  kept.put("c", new Uint8Array(4));
  assert.equal(kept.bytes, 12);
  kept.put("d", new Uint8Array(99));
  assert.deepEqual([...kept.kept.keys()], ["d"]);
  kept.clear();
  assert.equal(kept.bytes, 0);
  assert.equal(kept.get("d"), null);
});

const colors = new Float32Array(36);
colors.set([1, 0, 0, 1], 4); // code 1 red
colors.set([0, 1, 0, 0], 8); // code 2 hidden
const mixing = { center: 100, width: 255, labels: true, opacity: 0.5, colors };

test("values go through the window and what lies outside stays clear", () => {
  const into = new Uint8ClampedArray(16);
  shaded(into, Int16Array.from([-28, 100, 300, -32768]), null, 4, mixing);
  assert.deepEqual([...into], [0, 0, 0, 255, 128, 128, 128, 255, 255, 255, 255, 255, 0, 0, 0, 0]);
});

test("labels are filled, outlined more strongly, and hidden one by one", () => {
  const values = new Int16Array(12).fill(100);
  const codes = Uint8Array.from([1, 1, 0, 2, 1, 1, 0, 2, 1, 1, 0, 2]);
  const into = new Uint8ClampedArray(48);
  shaded(into, values, codes, 4, mixing);
  const pixel = (k) => [...into.slice(4 * k, 4 * k + 3)];
  assert.deepEqual(pixel(0), [192, 64, 64]); // filled by half
  assert.ok(pixel(1)[0] > 240 && pixel(1)[1] < 10); // the edge
  assert.deepEqual(pixel(3), [128, 128, 128]); // hidden
  shaded(into, values, codes, 4, { ...mixing, labels: false });
  assert.deepEqual(pixel(1), [128, 128, 128]);
});

import assert from "node:assert/strict";
import { test } from "node:test";
import * as transform from "../../../../../src/hipwright/apps/web/static/js/lib/film-transform.js";

const film = { columns: 3000, rows: 2500, aspect: 1.25 };
const box = { width: 900, height: 600 };

/** @param {number[]} found @param {number[]} wanted @param {number} [within] */
function near(found, wanted, within = 1e-9) {
  found.forEach((value, i) => assert.ok(Math.abs(value - wanted[i]) <= within, `${found} is not ${wanted}`));
}

test("a place goes to the screen and comes back", () => {
  const view = { scale: 0.37, x: -41, y: 12 };
  near(transform.toFilm(view, film, transform.toScreen(view, film, [812.25, 1999.5])), [812.25, 1999.5]);
});

test("the outer edge of the first pixel is the picture's corner", () => {
  assert.deepEqual(transform.toScreen({ scale: 2, x: 10, y: 20 }, film, [-0.5, -0.5]), [10, 20]);
});

test("a fitted film lies inside the box and touches two of its edges", () => {
  const view = transform.fitted(film, box);
  near(transform.toScreen(view, film, [-0.5, -0.5]).slice(1), [0]);
  near(transform.toScreen(view, film, [2999.5, 2499.5]).slice(1), [600]);
  assert.ok(view.x > 0);
});

test("zooming keeps the place under the cursor", () => {
  const view = transform.fitted(film, box);
  const at = /** @type {[number, number]} */ ([500, 320]);
  const before = transform.toFilm(view, film, at);
  near(transform.toFilm(transform.zoomed(view, film, box, 3, at), film, at), before, 1e-6);
});

test("zooming stops before the film is lost or a pixel fills the screen", () => {
  const view = transform.fitted(film, box);
  assert.equal(transform.zoomed(view, film, box, 1e-6, [0, 0]).scale, view.scale / 2);
  assert.equal(transform.zoomed(view, film, box, 1e9, [0, 0]).scale, transform.LARGEST_SCALE);
});

test("the film cannot be pushed out of sight", () => {
  const view = transform.shifted(transform.fitted(film, box), film, box, [1e6, -1e6]);
  const [left] = transform.toScreen(view, film, [-0.5, -0.5]);
  const [, bottom] = transform.toScreen(view, film, [2999.5, 2499.5]);
  assert.ok(left < box.width && bottom > 0);
});

test("a place out of sight is brought in, one in sight stays where it is", () => {
  const view = { scale: 1, x: 0, y: 0 };
  const [x, y] = transform.toScreen(transform.showing(view, film, box, [2000, 10]), film, [2000, 10]);
  assert.ok(x >= 80 && x <= 820 && y >= 80 && y <= 520);
  assert.deepEqual(transform.showing(view, film, box, [300, 200]), view);
});

test("a place beside the picture is moved onto it", () => {
  assert.deepEqual(transform.onPicture(film, [-40, 9999]), [-0.5, 2499.5]);
});

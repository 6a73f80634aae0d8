import assert from "node:assert/strict";
import { test } from "node:test";
import { NewestOnly } from "../../../../../src/hipwright/apps/web/static/js/lib/newest-only.js";

function queue() {
  /** @type {[number, object][]} */
  const sent = [];
  const line = new NewestOnly({
    merge: (/** @type {object} */ a, /** @type {object} */ b) => ({ ...a, ...b }),
    send: (seq, change) => sent.push([seq, change]),
  });
  return { line, sent };
}

test("the first message goes at once", () => {
  const { line, sent } = queue();
  line.offer({ a: 1 });
  assert.deepEqual(sent, [[1, { a: 1 }]]);
});

test("what comes while one is under way is merged and goes once, after the answer", () => {
  const { line, sent } = queue();
  line.offer({ a: 1 });
  for (let x = 0; x < 50; x += 1) line.offer({ a: x, b: 2 });
  assert.equal(sent.length, 1);
  line.answered(1);
  assert.deepEqual(sent[1], [2, { a: 49, b: 2 }]);
  line.answered(2);
  assert.equal(line.isIdle, true);
});

test("a late answer to an older message does not free the line", () => {
  const { line, sent } = queue();
  line.offer({ a: 1 });
  line.answered(1);
  line.offer({ a: 2 });
  line.offer({ a: 3 });
  line.answered(1);
  assert.equal(sent.length, 2);
});

test("after a break the line starts empty and numbers go on", () => {
  const { line, sent } = queue();
  line.offer({ a: 1 });
  line.offer({ a: 2 });
  line.reset();
  line.offer({ a: 3 });
  assert.deepEqual(sent.at(-1), [2, { a: 3 }]);
});

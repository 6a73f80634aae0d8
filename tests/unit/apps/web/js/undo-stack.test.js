import assert from "node:assert/strict";
import { test } from "node:test";
import { UndoStack } from "../../../../../src/hipwright/apps/web/static/js/lib/undo-stack.js";

test("every step is undone and redone, as many as there were", () => {
  const stack = new UndoStack(0);
  for (let step = 1; step <= 2000; step += 1) stack.push(step);
  for (let step = 1999; step >= 0; step -= 1) assert.equal(stack.undo(), step);
  assert.equal(stack.canUndo, false);
  assert.equal(stack.undo(), 0);
  for (let step = 1; step <= 2000; step += 1) assert.equal(stack.redo(), step);
  assert.equal(stack.redo(), 2000);
});

test("a new step after an undo forgets what was undone", () => {
  const stack = new UndoStack("a");
  stack.push("b");
  stack.undo();
  stack.push("c");
  assert.equal(stack.canRedo, false);
  assert.equal(stack.undo(), "a");
});

test("steps of one drag are undone as one", () => {
  const stack = new UndoStack(0);
  stack.push(1);
  for (const step of [2, 3, 4]) stack.push(step, "drag");
  assert.equal(stack.now, 4);
  assert.equal(stack.undo(), 1);
});

test("two drags with a rest between are two steps", () => {
  const stack = new UndoStack(0);
  stack.push(1, "drag");
  stack.rest();
  stack.push(2, "drag");
  assert.equal(stack.undo(), 1);
  assert.equal(stack.undo(), 0);
});

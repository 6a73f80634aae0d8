// @ts-check
// The Films screen: puts the picture, the reading, the numbers and the panels together.

import { keyOf } from "../lib/placed.js";
import { FilmView, registerFilmView } from "../components/film-view/film-view.js";
import { paintAbout } from "./about-panel.js";
import { Autosave } from "./autosave.js";
import { Beside } from "./beside.js";
import { part, readFacts } from "./facts.js";
import { GuidePanel } from "./guide-panel.js";
import { Keys } from "./keys.js";
import { LiveNumbers } from "./live-numbers.js";
import { LookedAt } from "./looked-at.js";
import { NumbersPanel } from "./numbers-panel.js";
import { Overlay } from "./overlay.js";
import { Placing } from "./placing.js";
import { PictureBar } from "./picture-bar.js";
import { ReadingModel } from "./reading-model.js";
import { ReadingsPanel } from "./readings-panel.js";
import { ScaleTool } from "./scale-tool.js";
import { paintTrust } from "./trust-panel.js";

registerFilmView();

const facts = readFacts();
const screen = part("[data-films]", HTMLElement);
const view = part("film-view[data-main]", FilmView);
const spoken = part("[data-spoken]", HTMLElement);
const failure = part("[data-failure]", HTMLElement);

/** @param {string} words */
function announce(words) {
  spoken.textContent = words;
}

const shown = facts.current ?? facts.lookedAt;
const model = new ReadingModel(facts, shown?.items ?? [], facts.lookedAt !== null);
const overlay = new Overlay(view, model);
const hint = part("[data-hint]", HTMLElement);
const placing = new Placing(view, model, overlay, (words) => {
  hint.textContent = words;
});
const bar = new PictureBar(part("[data-picture-bar]", HTMLElement), view, model, placing);
new Keys(view, model, placing, overlay, {
  help: () => part("#films-keys", HTMLDialogElement).showModal(),
  snapping: () => bar.toggleSnapping(),
  announce,
});
const numbers = new NumbersPanel(part("[data-numbers-panel]", HTMLElement), facts);
const about = part("[data-about]", HTMLElement);
const live = new LiveNumbers(facts.image, model.placed, shown?.observer ?? facts.observer ?? "");
const saving = new Autosave({
  image: facts.image,
  case: facts.case,
  observer: facts.observer,
  reading: facts.reading,
  version: facts.current?.version ?? 0,
  placed: model.placed,
});
new GuidePanel(part("[data-guide]", HTMLElement), model, announce);
const readings = new ReadingsPanel(part("[data-readings]", HTMLElement), { facts, model, overlay, saving, announce });
if (facts.lookedAt) new LookedAt(part("[data-looked-at]", HTMLElement), facts.lookedAt, { model, readings, announce });
new ScaleTool(part("[data-scale]", HTMLElement), { facts, view, placing, announce });
new Beside(screen, facts, view);

model.addEventListener("changed", () => {
  overlay.redraw();
  live.follow(model.placed);
  saving.follow(model.placed);
});
model.addEventListener("target", () => overlay.redraw());

numbers.addEventListener("choose", (event) => {
  const { detail } = /** @type {CustomEvent<import("./live-numbers.js").Chosen | null>} */ (event);
  if (detail === null) {
    overlay.marks = [];
    overlay.redraw();
  }
  overlay.used = detail && landmarksOf(detail);
  overlay.redraw();
  live.choose(detail);
  tellAbout();
});

/** @param {import("./live-numbers.js").Chosen} chosen */
function landmarksOf({ id, side }) {
  const names = facts.measurements.find((m) => m.id === id)?.landmarks ?? [];
  const sides = side === null ? [null, ...facts.sides] : [null, side];
  return new Set(names.flatMap((name) => sides.map((one) => keyOf(name, one))));
}

function tellAbout() {
  const { chosen } = numbers;
  const measurement = facts.measurements.find((m) => m.id === chosen?.id) ?? null;
  const row = chosen ? (numbers.rows.get(chosen.side ? `${chosen.id}@${chosen.side}` : chosen.id) ?? null) : null;
  paintAbout(about, measurement, row);
}

live.addEventListener("answer", (event) => {
  const { detail: answer } = /** @type {CustomEvent<import("./facts.js").Answer>} */ (event);
  if (answer.rows) {
    numbers.take(answer.rows);
    if (answer.rows.some((row) => row.id === numbers.chosen?.id)) tellAbout();
  }
  if (answer.trust) paintTrust(answer.trust);
  if (answer.marks) overlay.marks = answer.marks;
  if (answer.circles) overlay.circles = answer.circles;
  if (answer.marks || answer.circles) overlay.paint();
  const trouble = answer.error?.message ?? answer.problems?.[0]?.message ?? "";
  const told = part("[data-trouble]", HTMLElement);
  told.hidden = trouble === "";
  told.textContent = trouble;
});
live.addEventListener("line", (event) => {
  const { detail: isOpen } = /** @type {CustomEvent<boolean>} */ (event);
  screen.classList.toggle("cut-off", !isOpen);
  part("[data-cut-off]", HTMLElement).hidden = isOpen;
});
live.addEventListener("locked", () => {
  part("[data-locked]", HTMLElement).hidden = false;
});

saving.addEventListener("state", (event) => {
  part("[data-saving]", HTMLElement).textContent = /** @type {CustomEvent<string>} */ (event).detail;
});
saving.say(saving.version > 0 ? `Saved, version ${saving.version}` : "");

view.addEventListener("film-ready", (event) => {
  const { detail } = /** @type {CustomEvent<{ reduced: number, plain: boolean }>} */ (event);
  screen.classList.add("shown");
  failure.hidden = true;
  overlay.paint();
  const reduced = part("[data-reduced]", HTMLElement);
  reduced.hidden = detail.reduced <= 1;
  reduced.textContent = `Shown at 1/${detail.reduced} of its size: this screen's graphics hold no larger picture. Landmarks and the magnifier keep the film's own pixels.`;
  requestAnimationFrame(() => performance.mark("film-visible"));
});
view.addEventListener("film-failed", (event) => {
  const { detail } = /** @type {CustomEvent<{ message: string }>} */ (event);
  failure.hidden = false;
  part("[data-failure-words]", HTMLElement, failure).textContent = detail.message;
});
part("[data-try-again]", HTMLButtonElement, failure).addEventListener("click", () => show());

part("[data-sheet]", HTMLButtonElement).addEventListener("click", (event) => {
  const open = screen.classList.toggle("panel-closed");
  /** @type {HTMLElement} */ (event.currentTarget).setAttribute("aria-expanded", String(!open));
});

function show() {
  failure.hidden = true;
  view.show({
    columns: facts.columns,
    rows: facts.rows,
    aspect: facts.aspect,
    preview: view.dataset["preview"] ?? "",
    pixels: view.dataset["pixels"] ?? "",
    name: view.dataset["name"] ?? "Film",
  });
}

show();

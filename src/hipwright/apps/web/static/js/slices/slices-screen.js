// @ts-check
// The Slices screen: puts the views, the labels, the edits, the planes and the findings together.

import { Refused, ask } from "../lib/sending.js";
import { made, part } from "../lib/elements.js";
import { pixelAt, placeWords } from "../lib/slice-geometry.js";
import { registerSliceView } from "../components/slice-view/slice-view.js";
import { EditLine } from "./edit-line.js";
import { EditPanel } from "./edit-panel.js";
import { DIRECTIONS, readFacts } from "./facts.js";
import { FindingsClock } from "./findings-clock.js";
import { GrayTool } from "./gray-tool.js";
import { Keys } from "./keys.js";
import { LabelsPanel } from "./labels-panel.js";
import { LinkedViews } from "./linked-views.js";
import { RadialPanel } from "./radial-panel.js";
import { RadialView } from "./radial-view.js";
import { SeriesStore } from "./series-store.js";
import { StaleDialog } from "./stale-dialog.js";
import { NEEDS_EDITS, Tools } from "./tools.js";

/** @typedef {import("./facts.js").Direction} Direction */

registerSliceView();

const facts = readFacts();
const screen = part("[data-slices]", HTMLElement);
const bar = part("[data-slices-bar]", HTMLElement);
const saving = part("[data-saving]", HTMLElement);
const spoken = part("[data-spoken]", HTMLElement);
const opening = part("[data-opening]", HTMLElement);
const failure = part("[data-failure]", HTMLElement);
const readout = part("[data-readout]", HTMLElement);
const desk = crypto.randomUUID();

/** @param {string} words */
function say(words) {
  saving.textContent = words;
  spoken.textContent = words;
}

const store = new SeriesStore(facts.image, desk);
const views = new LinkedViews(part("[data-views]", HTMLElement), store);
const edits = new EditLine(facts.image, desk);
const tools = new Tools(views, edits);
const gray = new GrayTool(bar);
const labels = new LabelsPanel(part("[data-labels]", HTMLElement), facts.legend);
const editing = new EditPanel(part("[data-editing]", HTMLElement), { tools, edits, legend: facts.legend });
const radial = new RadialView(screen, facts.image, say);
const planes = new RadialPanel(part("[data-radial]", HTMLElement), { facts, tools, radial, say });
const findings = document.querySelector("[data-findings]");
const clock = findings instanceof HTMLElement ? new FindingsClock(findings, facts.side === "left") : null;
new StaleDialog(part("#slices-stale", HTMLDialogElement), edits, (whose) => {
  store.whose = whose;
  store.forgetCodes();
  views.refresh();
});
new Keys({
  views, tools, edits, panel: editing, radial, labels,
  enlarge: (name) => views.enlarge(name),
  help: () => part("#slices-keys", HTMLDialogElement).showModal(),
});

function shade() {
  const shading = { ...gray.gray, labels: labels.isOn, opacity: labels.strength, colors: labels.colors };
  views.shade(shading);
  radial.shade(shading);
}

gray.addEventListener("changed", shade);
labels.addEventListener("changed", shade);
for (const view of [...DIRECTIONS.map((direction) => views.shown[direction].view), radial.view]) {
  view.addEventListener("slice-regray", (event) => gray.drag(/** @type {CustomEvent} */ (event).detail.by));
}

// What lies under the pointer, else under the crosshair.
for (const direction of DIRECTIONS) {
  const { view } = views.shown[direction];
  view.addEventListener("slice-hover", (event) => tell(direction, /** @type {CustomEvent} */ (event).detail.pixel));
  view.addEventListener("slice-leave", () => tellCursor());
  view.addEventListener("focus", () => views.enlarge(screen.dataset["one"] ? direction : (views.host.dataset["large"] ?? direction)));
}
views.addEventListener("cursor", () => tellCursor());
views.addEventListener("drawn", () => {
  screen.classList.add("drawn");
  tellCursor();
});

function tellCursor() {
  const direction = /** @type {Direction} */ (views.host.dataset["large"] === "radial" ? "axial" : (views.host.dataset["large"] ?? "axial"));
  tell(direction, pixelAt(store.view(direction), views.cursor).pixel);
}

/** @param {Direction} direction @param {[number, number]} pixel */
function tell(direction, [column, row]) {
  const view = store.view(direction);
  const { index } = views.shown[direction];
  const [c, r] = [Math.round(column), Math.round(row)];
  const inside = c >= 0 && r >= 0 && c < view.columns && r < view.rows;
  const key = store.key("cuts", direction, index);
  const value = inside ? store.cuts.kept.get(key)?.[r * view.columns + c] : undefined;
  const code = inside ? store.codes.kept.get(store.key("codes", direction, index))?.[r * view.columns + c] : undefined;
  const bone = facts.legend.find((row_) => row_.code === code)?.words;
  const place = placeWords(tools.placeOf(direction, [column, row]));
  const told = value === undefined || value === -32768 ? "" : `${value}${store.facts.unit ? ` ${store.facts.unit}` : ""}`;
  readout.textContent = [place, told, bone].filter(Boolean).join("   ");
}

// Tools under the pictures
bar.addEventListener("click", (event) => {
  if (!(event.target instanceof Element)) return;
  const tool = event.target.closest("[data-use]")?.getAttribute("data-use");
  if (tool) tools.choose(/** @type {import("./facts.js").Tool} */ (tool));
  if (event.target.closest("[data-do=fit]")) {
    for (const direction of DIRECTIONS) views.shown[direction].view.fit();
    radial.view.fit();
  }
  if (event.target.closest("[data-do=crosshair]")) {
    views.crosshair = !views.crosshair;
    event.target.closest("button")?.setAttribute("aria-pressed", String(views.crosshair));
    views.moveTo(views.cursor);
  }
});
tools.addEventListener("changed", () => {
  for (const button of bar.querySelectorAll("[data-use]")) {
    button.setAttribute("aria-pressed", String(button.getAttribute("data-use") === tools.tool));
  }
  radial.view.tool = tools.tool === "gray" ? "gray" : "move";
  if (NEEDS_EDITS.has(tools.tool)) {
    store.withCodes = true;
    if (!labels.isOn) labels.toggle();
    if (radial.isOpen) radial.close();
  }
  screen.dataset["tool"] = tools.tool;
});
screen.addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("[data-enlarge]") : null;
  if (button) views.enlarge(button.getAttribute("data-enlarge") ?? "axial");
});
views.addEventListener("size", () => {
  for (const button of screen.querySelectorAll("[data-enlarge]")) {
    button.setAttribute("aria-pressed", String(button.getAttribute("data-enlarge") === views.host.dataset["large"]));
  }
});
radial.addEventListener("opened", () => views.enlarge("radial"));
radial.addEventListener("closed", () => {
  if (views.host.dataset["large"] === "radial") views.enlarge("axial");
  if (clock) clock.hour = null;
  clock?.paint();
});
radial.addEventListener("changed", (event) => {
  if (!clock || !radial.isOpen) return;
  clock.hour = /** @type {CustomEvent} */ (event).detail;
  clock.paint();
});

// Edits
edits.addEventListener("state", (event) => {
  const state = /** @type {import("./facts.js").EditState} */ (/** @type {CustomEvent} */ (event).detail);
  const changed = views.edits?.state !== state.state;
  views.edits = state;
  if (!changed) return;
  store.forgetCodes();
  views.refresh();
});
const later = part("[data-settle-later]", HTMLButtonElement);
edits.addEventListener("stale", () => {
  later.hidden = false;
});
edits.addEventListener("settled", () => {
  later.hidden = true;
});
edits.addEventListener("words", (event) => say(/** @type {CustomEvent} */ (event).detail));
store.addEventListener("trouble", (event) => say(/** @type {CustomEvent} */ (event).detail));

// Making the models waits until the edits are kept.
document.body.addEventListener("htmx:confirm", (event) => {
  const asked = /** @type {CustomEvent} */ (event);
  if (!(asked.target instanceof Element) || !asked.target.closest("[data-keeps-edits]")) return;
  event.preventDefault();
  edits.keep().then(() => asked.detail.issueRequest(true));
});

// New bone models bring new labels and axes.
document.body.addEventListener("bones-made", async () => {
  document.querySelector("[data-no-labels]")?.remove();
  store.forgetCodes();
  views.refresh();
  say("The bone models are made: their labels are shown.");
  facts.axes = await ask(`/slices/${facts.image}/axes${facts.case ? `?case=${facts.case}` : ""}`).catch(() => facts.axes);
  planes.offer();
});

const panel = part("#slices-panel", HTMLElement);
const sheet = part("[data-sheet]", HTMLButtonElement);
sheet.addEventListener("click", () => {
  const closed = screen.classList.toggle("panel-closed");
  sheet.setAttribute("aria-expanded", String(!closed));
});
if (globalThis.matchMedia("(max-width: 56rem)").matches) {
  screen.classList.add("panel-closed");
  sheet.setAttribute("aria-expanded", "false");
}
panel.querySelector("[data-block]")?.addEventListener("input", (event) => {
  if (event.target instanceof HTMLSelectElement) show(Number(event.target.value));
});

/** @param {number} block */
async function show(block) {
  store.choose(block);
  edits.block = block;
  gray.offer(store.facts.windows);
  part("[data-details]", HTMLElement).replaceChildren(
    ...store.facts.details.map(([label, words]) => made("div", {}, made("dt", {}, label), made("dd", {}, words))),
  );
  part("[data-notes]", HTMLElement).replaceChildren(
    ...store.facts.notes.map((note) => made("p", { class: "notice warning small" }, made("span", {}, note))),
  );
  views.start(facts.axes[0]?.head ?? null);
  views.enlarge(views.host.dataset["large"] ?? "coronal");
  await edits.look();
}

/** @param {boolean} again */
async function open(again) {
  failure.hidden = true;
  opening.hidden = false;
  const bar_ = part("progress", HTMLProgressElement, opening);
  const words = part("[data-opening-words]", HTMLElement, opening);
  try {
    await store.open((message, share) => {
      words.textContent = message;
      if (share === null) bar_.removeAttribute("value");
      else bar_.value = share;
    }, again);
    opening.hidden = true;
    part("[data-block-field]", HTMLElement).hidden = store.blocks.length < 2;
    part("[data-block]", HTMLSelectElement).replaceChildren(
      ...store.blocks.map((_, k) => made("option", { value: String(k) }, `Block ${k + 1} of ${store.blocks.length}`)),
    );
    tools.choose("cursor");
    await show(0);
    screen.classList.add("shown");
  } catch (error) {
    opening.hidden = true;
    failure.hidden = false;
    const told = error instanceof Refused ? [error.message, error.body?.error?.help] : ["hipwright does not answer. Is it still running?"];
    part("[data-failure-words]", HTMLElement).textContent = told.filter(Boolean).join(" ");
  }
}

part("[data-try-again]", HTMLButtonElement).addEventListener("click", () => open(true));
open(false);

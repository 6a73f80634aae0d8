// @ts-check
// The Bones screen: puts the scene, the numbers, the clock face and the landmarks together.

import { BoneView, registerBoneView } from "../components/bone-view/bone-view.js";
import { registerClockFace } from "../components/clock-face/clock-face.js";
import { edgesInWords, viewInWords, zoomed } from "../lib/orbit.js";
import { part } from "../lib/elements.js";
import { ask } from "../lib/sending.js";
import { Choosing } from "./choosing.js";
import { addressOf, readFacts } from "./facts.js";
import { Landmarks } from "./landmarks.js";
import { Painting } from "./painting.js";
import { ShownBones } from "./shown.js";

const facts = readFacts();
const screen = part("[data-bones]", HTMLElement);
const spoken = part("[data-spoken]", HTMLElement);
const arriving = part("[data-arriving]", HTMLElement);

/** @param {string} words */
function say(words) {
  spoken.textContent = words;
}

// Listeners first: the view tells of failures as soon as it is made.
screen.addEventListener("bones-failed", (event) => {
  part("[data-failure-words]", HTMLElement).textContent = /** @type {CustomEvent<string>} */ (event).detail;
  part("[data-failure]", HTMLElement).hidden = false;
  arriving.hidden = true;
});
screen.addEventListener("bones-drawn", () => {
  part("[data-failure]", HTMLElement).hidden = true;
  screen.classList.add("shown");
  performance.mark("bones-drawn");
});
screen.addEventListener("bones-looked", (event) => {
  const { detail: orbit } = /** @type {CustomEvent<import("../lib/orbit.js").Orbit>} */ (event);
  part("[data-looking]", HTMLElement).textContent = viewInWords(orbit);
  const [left, right] = edgesInWords(orbit);
  part("[data-edge-left]", HTMLElement).textContent = left;
  part("[data-edge-right]", HTMLElement).textContent = right;
});

registerBoneView();
registerClockFace();
const view = part("[data-view]", BoneView);
const painting = new Painting(screen, view, facts.bones.map((bone) => bone.id), say);
const shown = new ShownBones(screen, view, facts, say);
const choosing = new Choosing(screen, view, facts, say);
const landmarks = new Landmarks(screen, view, facts, say);

/** Bones that are shown from the start. @param {string} id */
function ofHips(id) {
  return facts.bones.some((bone) => bone.id === id && bone.side !== null && bone.part === "");
}

/** @param {string} id */
function ofOwnHip(id) {
  return facts.bones.some((bone) => bone.id === id && bone.side === facts.side && bone.part === "");
}

async function fetchBones() {
  const first = facts.bones.filter((bone) => ofHips(bone.id));
  const rest = facts.bones.filter((bone) => !ofHips(bone.id));
  try {
    await view.load(first);
    view.fit(ofHips);
    arriving.hidden = true;
    await view.load(rest);
    shown.apply();
  } catch (error) {
    arriving.textContent = `${error instanceof Error ? error.message : "The bones did not come"}. Reload the page.`;
    arriving.classList.add("failed");
  }
}

/** @type {import("./facts.js").SceneFacts | null} */
let scene = null;

/** Come near the head of the page's own hip, or show its bones where no head was found. */
function showOwnHip() {
  const head = scene?.heads[facts.side];
  if (head) view.lookAround(head, 85);
  else view.fit(ofOwnHip);
}

async function fetchScene() {
  try {
    scene = /** @type {import("./facts.js").SceneFacts} */ (await ask(addressOf(facts, "scene")));
    landmarks.take(scene.landmarks);
    await painting.offer(scene.maps);
  } catch (error) {
    say(error instanceof Error ? error.message : "Maps and landmarks did not come.");
  }
}

landmarks.addEventListener("saved", () => {
  for (const place of screen.querySelectorAll("[data-part]")) {
    const name = place.getAttribute("data-part") ?? "";
    const face = place.querySelector("clock-face")?.getAttribute("data-definition");
    window.htmx.ajax("GET", addressOf(facts, name, face ? { shown: face } : {}), { target: place, swap: "innerHTML" });
  }
  void fetchScene();
  void choosing.show(false);
});

part("[data-view-bar]", HTMLElement).addEventListener("click", (event) => {
  const button = event.target instanceof Element ? event.target.closest("button") : null;
  const { look, do: wish } = button?.dataset ?? {};
  if (look) view.lookFrom(look);
  if (wish === "smaller") view.goTo(zoomed(view.orbit, 1 / 1.3));
  if (wish === "larger") view.goTo(zoomed(view.orbit, 1.3));
  if (wish === "all") view.fit();
  if (wish === "own-hip") showOwnHip();
});
part("[data-cut]", HTMLInputElement).addEventListener("input", (event) => {
  if (event.target instanceof HTMLInputElement) view.cutAway(Number(event.target.value) / 100);
});

const sheet = part("[data-sheet]", HTMLButtonElement);
sheet.addEventListener("click", () => {
  const closed = screen.classList.toggle("panel-closed");
  sheet.setAttribute("aria-expanded", String(!closed));
});
const builds = document.querySelector("[data-builds] select");
builds?.addEventListener("change", () => {
  if (builds instanceof HTMLSelectElement) builds.form?.submit();
});

void fetchBones();
void fetchScene();

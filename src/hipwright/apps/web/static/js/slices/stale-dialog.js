// @ts-check
// Two people edited one series: what is kept, what is mine, and what shall become of them.

import { part } from "../lib/elements.js";

/** @typedef {{ voxels: number, cuts: number, seeds: number }} Counts */

export class StaleDialog {
  /**
   * @param {HTMLDialogElement} dialog
   * @param {import("./edit-line.js").EditLine} edits
   * @param {(whose: "mine" | "kept") => void} show
   */
  constructor(dialog, edits, show) {
    this.dialog = dialog;
    edits.addEventListener("stale", (event) => {
      const { theirs, mine } = /** @type {CustomEvent} */ (event).detail;
      part("[data-theirs]", HTMLElement, dialog).textContent = theirs
        ? `Version ${theirs.version} by ${theirs.by}, ${theirs.savedAt}: ${words(theirs)}` : "";
      part("[data-mine]", HTMLElement, dialog).textContent = mine ? words(mine) : "";
      dialog.showModal();
    });
    dialog.addEventListener("input", (event) => {
      if (event.target instanceof HTMLInputElement) show(event.target.value === "kept" ? "kept" : "mine");
    });
    dialog.addEventListener("click", (event) => {
      const choice = event.target instanceof Element ? event.target.closest("[data-settle]")?.getAttribute("data-settle") : null;
      if (!choice) return;
      dialog.close();
      show("mine");
      edits.settle(/** @type {"mine" | "theirs" | "both"} */ (choice));
    });
    dialog.addEventListener("close", () => show("mine"));
  }
}

/** @param {Counts} counts */
function words({ voxels, cuts, seeds }) {
  const parts = [[voxels, "painted voxel"], [cuts, "cut"], [seeds, "seed"]];
  return parts.map(([count, one]) => `${Number(count).toLocaleString("en-US")} ${one}${count === 1 ? "" : "s"}`).join(", ");
}

// @ts-check
// What the server tells about a series, and the shapes that travel.

import { part } from "../lib/elements.js";

/** @typedef {import("../lib/slice-geometry.js").Point} Point */
/** @typedef {import("../lib/slice-geometry.js").ViewFacts} ViewFacts */
/** @typedef {"axial" | "coronal" | "sagittal"} Direction */
/** @typedef {{ code: number, words: string, color: string }} LegendRow */
/** @typedef {{ side: string | null, head: Point, neck: Point, from: string }} Axis */
/** @typedef {{ name: string, center: number, width: number }} GrayPreset */
/**
 * @typedef {object} BlockFacts
 * @property {number} number
 * @property {string} modality
 * @property {string} unit
 * @property {ViewFacts[]} views
 * @property {GrayPreset[]} windows the usual one first
 * @property {[string, string][]} details
 * @property {string[]} notes
 */
/**
 * @typedef {object} ScreenFacts
 * @property {string} image
 * @property {string | null} case
 * @property {"left" | "right" | null} side
 * @property {string} modality
 * @property {string | null} observer
 * @property {Axis[]} axes
 * @property {LegendRow[]} legend
 * @property {boolean} hasLabels
 */
/**
 * @typedef {object} EditState
 * @property {number} state
 * @property {number} version
 * @property {boolean} dirty
 * @property {boolean} canUndo
 * @property {boolean} canRedo
 * @property {number} voxels
 * @property {number} cuts
 * @property {number} seeds
 * @property {{ center: Point, normal: Point, radius: number }[]} cutList
 * @property {{ at: Point, code: number }[]} seedList
 */
/** @typedef {"cursor" | "gray" | "move" | "brush" | "eraser" | "outline" | "region" | "cut" | "seed" | "head" | "neck"} Tool */

/** @type {Direction[]} */
export const DIRECTIONS = ["axial", "coronal", "sagittal"];

/** @returns {ScreenFacts} */
export function readFacts() {
  return JSON.parse(part("#slices-facts", HTMLScriptElement).textContent ?? "");
}

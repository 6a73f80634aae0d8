// @ts-check
// Keys on a view: scrolling, the crosshair, tools, the window, undo.

import { pixelAt } from "../lib/slice-geometry.js";
import { DIRECTIONS } from "./facts.js";

/** @typedef {import("./facts.js").Direction} Direction */
/** @typedef {import("./facts.js").Tool} Tool */

/** @type {Record<string, Tool>} */
const TOOL_KEYS = { c: "cursor", w: "gray", m: "move", b: "brush", e: "eraser", f: "outline", r: "region", x: "cut", s: "seed" };

export class Keys {
  /**
   * @param {object} with_
   * @param {import("./linked-views.js").LinkedViews} with_.views
   * @param {import("./tools.js").Tools} with_.tools
   * @param {import("./edit-line.js").EditLine} with_.edits
   * @param {import("./edit-panel.js").EditPanel} with_.panel
   * @param {import("./radial-view.js").RadialView} with_.radial
   * @param {import("./labels-panel.js").LabelsPanel} with_.labels
   * @param {(name: string) => void} with_.enlarge
   * @param {() => void} with_.help
   */
  constructor(with_) {
    this.with_ = with_;
    for (const direction of DIRECTIONS) {
      with_.views.shown[direction].view.addEventListener("keydown", (event) => {
        if (this.pressed(direction, event)) event.preventDefault();
      });
    }
    with_.radial.view.addEventListener("keydown", (event) => {
      if (this.onRadial(event)) event.preventDefault();
    });
  }

  /** @param {Direction} direction @param {KeyboardEvent} event */
  pressed(direction, event) {
    const { views, tools } = this.with_;
    const shown = views.shown[direction];
    const far = event.shiftKey ? 10 : 1;
    if (event.ctrlKey || event.metaKey) return this.step(event);
    switch (event.key) {
      case "ArrowLeft": views.nudge(direction, [-far, 0]); return true;
      case "ArrowRight": views.nudge(direction, [far, 0]); return true;
      case "ArrowUp": views.nudge(direction, [0, -far]); return true;
      case "ArrowDown": views.nudge(direction, [0, far]); return true;
      case "PageUp": case ",": case "<": views.scroll(direction, -far); return true;
      case "PageDown": case ".": case ">": views.scroll(direction, far); return true;
      case "Home": views.goTo(direction, 0); return true;
      case "End": views.goTo(direction, Infinity); return true;
      case "Enter": tools.byKey(direction, event.shiftKey); return true;
      case "Escape": tools.choose("cursor"); return true;
      case "a": this.with_.enlarge(direction); return true;
      default: return this.common(shown.view, event.key, () =>
        pixelAt(views.store.view(direction), views.cursor).pixel);
    }
  }

  /**
   * @param {import("../components/slice-view/slice-view.js").SliceView} view
   * @param {string} key
   * @param {() => [number, number]} middle
   */
  common(view, key, middle) {
    const { tools, panel, labels, help } = this.with_;
    const tool = TOOL_KEYS[key];
    if (tool) {
      tools.choose(tool);
      return true;
    }
    switch (key) {
      case "+": case "=": view.zoom(1.25, view.screenOf(middle())); return true;
      case "-": view.zoom(0.8, view.screenOf(middle())); return true;
      case "0": view.fit(); return true;
      case "[": panel.setRadius(tools.radius - 0.5); return true;
      case "]": panel.setRadius(tools.radius + 0.5); return true;
      case "l": labels.toggle(); return true;
      case "?": help(); return true;
      default: return false;
    }
  }

  /** @param {KeyboardEvent} event */
  step(event) {
    const { edits } = this.with_;
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return false;
    edits.make({ how: key === "y" || event.shiftKey ? "redo" : "undo" });
    return true;
  }

  /** @param {KeyboardEvent} event */
  onRadial(event) {
    const { radial } = this.with_;
    switch (event.key) {
      case "PageUp": case "ArrowLeft": case ",": radial.goTo(radial.index - 1); return true;
      case "PageDown": case "ArrowRight": case ".": radial.goTo(radial.index + 1); return true;
      case "Home": radial.goTo(0); return true;
      case "End": radial.goTo(-1); return true;
      case "Escape": radial.close(); return true;
      default: return this.common(radial.view, event.key, () => [radial.side / 2, radial.side / 2]);
    }
  }
}

// @ts-check
// Pointers and the wheel on a slice, told as what they mean. One finger or the left button does
// what the chosen tool does; two fingers, the middle button or the space bar move the picture;
// Shift drags the window.

/** @typedef {import("../../lib/film-transform.js").Place} Place */
/**
 * @typedef {object} Wishes
 * @property {(phase: "start" | "move" | "end" | "cancel", at: Place) => void} press the tool's own work
 * @property {() => "press" | "gray" | "move"} tool
 * @property {(by: Place) => void} pan
 * @property {(factor: number, at: Place) => void} zoom
 * @property {(by: Place) => void} regray
 * @property {(by: number) => void} scroll
 * @property {(at: Place) => void} hover
 * @property {() => void} leave
 */

const WHEEL_STEP_PX = 40;

export class SliceGestures {
  /**
   * @param {HTMLElement} host
   * @param {Wishes} wishes
   */
  constructor(host, wishes) {
    this.host = host;
    this.wishes = wishes;
    /** @type {Map<number, Place>} */
    this.down = new Map();
    /** @type {"press" | "gray" | "move" | null} */
    this.doing = null;
    this.spaceHeld = false;
    this.turned = 0;
    host.addEventListener("pointerdown", (event) => this.start(event));
    host.addEventListener("pointermove", (event) => this.move(event));
    host.addEventListener("pointerup", (event) => this.end(event));
    host.addEventListener("pointercancel", (event) => this.end(event));
    host.addEventListener("pointerleave", () => wishes.leave());
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    host.addEventListener("contextmenu", (event) => event.preventDefault());
    host.addEventListener("keydown", (event) => this.space(event, true));
    host.ownerDocument.addEventListener("keyup", (event) => this.space(event, false));
  }

  /** @param {MouseEvent} event @returns {Place} */
  placeOf(event) {
    const box = this.host.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {PointerEvent} event */
  start(event) {
    if (event.target instanceof Element && event.target.closest("[data-no-gesture]")) return;
    this.host.focus({ preventScroll: true });
    const at = this.placeOf(event);
    this.down.set(event.pointerId, at);
    this.host.setPointerCapture(event.pointerId);
    if (this.down.size === 2) {
      if (this.doing === "press") this.wishes.press("cancel", at);
      this.doing = null;
      return;
    }
    if (this.down.size > 2) return;
    if (event.button === 1 || this.spaceHeld) this.doing = "move";
    else if (event.button !== 0) return;
    else this.doing = event.shiftKey ? "gray" : this.wishes.tool();
    event.preventDefault();
    if (this.doing === "press") this.wishes.press("start", at);
  }

  /** @param {PointerEvent} event */
  move(event) {
    const before = this.down.get(event.pointerId);
    const at = this.placeOf(event);
    if (event.pointerType === "mouse" || before) this.wishes.hover(at);
    if (!before) return;
    /** @type {Place} */
    const by = [at[0] - before[0], at[1] - before[1]];
    if (this.down.size === 2) this.pinch(event.pointerId, at);
    else if (this.doing === "press") {
      // A fast stroke comes as several places at once: none is left out.
      const merged = event.getCoalescedEvents?.() ?? [];
      for (const one of merged.length > 0 ? merged : [event]) this.wishes.press("move", this.placeOf(one));
    } else if (this.doing === "move") this.wishes.pan(by);
    else if (this.doing === "gray") this.wishes.regray(by);
    this.down.set(event.pointerId, at);
  }

  /**
   * @param {number} id
   * @param {Place} at
   */
  pinch(id, at) {
    const other = [...this.down].find(([key]) => key !== id)?.[1];
    const before = this.down.get(id);
    if (!other || !before) return;
    this.wishes.pan([(at[0] - before[0]) / 2, (at[1] - before[1]) / 2]);
    const apart = Math.hypot(before[0] - other[0], before[1] - other[1]);
    const now = Math.hypot(at[0] - other[0], at[1] - other[1]);
    if (apart > 8) this.wishes.zoom(now / apart, [(at[0] + other[0]) / 2, (at[1] + other[1]) / 2]);
  }

  /** @param {PointerEvent} event */
  end(event) {
    this.down.delete(event.pointerId);
    if (this.doing === "press") this.wishes.press(event.type === "pointercancel" ? "cancel" : "end", this.placeOf(event));
    if (this.down.size === 0) this.doing = null;
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const pixels = event.deltaY * (event.deltaMode === WheelEvent.DOM_DELTA_LINE ? WHEEL_STEP_PX : 1);
    if (event.ctrlKey) {
      this.wishes.zoom(Math.exp(-pixels * 0.004), this.placeOf(event));
      return;
    }
    this.turned += pixels;
    const steps = Math.trunc(this.turned / WHEEL_STEP_PX);
    this.turned -= steps * WHEEL_STEP_PX;
    if (steps !== 0) this.wishes.scroll(steps);
  }

  /**
   * @param {KeyboardEvent} event
   * @param {boolean} held
   */
  space(event, held) {
    if (event.code !== "Space" || (held && event.target !== this.host)) return;
    if (held) event.preventDefault();
    this.spaceHeld = held;
  }
}

// @ts-check
// Pointers, the wheel and keys, told as what they mean for somebody who looks at a thing:
// turning it, moving it, coming nearer.

/** @typedef {[number, number]} Place */
/**
 * @typedef {object} Wishes
 * @property {(by: Place) => void} turn pixels to the right and down
 * @property {(by: Place) => void} pan
 * @property {(factor: number) => void} zoom
 * @property {(at: Place) => void} press a press that did not move
 * @property {(view: string) => void} look
 * @property {() => void} fit
 */

const STILL_PX = 4;
const KEY_TURN_PX = 14;
const KEY_PAN_PX = 24;

/** Keys of the standard views. */
export const VIEW_KEYS = { 1: "front", 2: "back", 3: "right", 4: "left", 5: "above", 6: "below" };

export class Turning {
  /**
   * @param {HTMLElement} host
   * @param {Wishes} wishes
   * @param {AbortSignal} signal
   */
  constructor(host, wishes, signal) {
    this.host = host;
    this.wishes = wishes;
    /** @type {Map<number, Place>} */
    this.down = new Map();
    this.pans = false;
    this.moved = 0;
    host.addEventListener("pointerdown", (event) => this.start(event), { signal });
    host.addEventListener("pointermove", (event) => this.move(event), { signal });
    host.addEventListener("pointerup", (event) => this.end(event), { signal });
    host.addEventListener("pointercancel", (event) => this.end(event), { signal });
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false, signal });
    host.addEventListener("contextmenu", (event) => event.preventDefault(), { signal });
    host.addEventListener("keydown", (event) => this.key(event), { signal });
  }

  /** @param {MouseEvent} event @returns {Place} */
  placeOf(event) {
    const box = this.host.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {PointerEvent} event */
  start(event) {
    if (event.target instanceof Element && event.target.closest("button, a, select, input")) return;
    this.host.focus({ preventScroll: true });
    this.host.setPointerCapture(event.pointerId);
    this.down.set(event.pointerId, this.placeOf(event));
    this.pans = event.button !== 0 || event.shiftKey;
    this.moved = this.down.size > 1 ? STILL_PX + 1 : 0;
  }

  /** @param {PointerEvent} event */
  move(event) {
    const before = this.down.get(event.pointerId);
    if (!before) return;
    const at = this.placeOf(event);
    /** @type {Place} */
    const by = [at[0] - before[0], at[1] - before[1]];
    this.moved += Math.abs(by[0]) + Math.abs(by[1]);
    const other = [...this.down].find(([id]) => id !== event.pointerId)?.[1];
    if (other) {
      const earlier = Math.hypot(before[0] - other[0], before[1] - other[1]);
      const now = Math.hypot(at[0] - other[0], at[1] - other[1]);
      if (earlier > 8) this.wishes.zoom(now / earlier);
      this.wishes.pan([by[0] / 2, by[1] / 2]);
    } else if (this.pans) this.wishes.pan(by);
    else if (this.moved > STILL_PX) this.wishes.turn(by);
    this.down.set(event.pointerId, at);
  }

  /** @param {PointerEvent} event */
  end(event) {
    if (!this.down.delete(event.pointerId)) return;
    if (event.type === "pointerup" && this.down.size === 0 && this.moved <= STILL_PX) this.wishes.press(this.placeOf(event));
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 24 : 1;
    this.wishes.zoom(Math.exp(-event.deltaY * lines * (event.ctrlKey ? 0.01 : 0.0014)));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.target !== this.host || event.ctrlKey || event.metaKey || event.altKey) return;
    /** @type {Record<string, Place>} */
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const arrow = arrows[event.key];
    const view = /** @type {Record<string, string>} */ (VIEW_KEYS)[event.key];
    if (arrow && event.shiftKey) this.wishes.pan([arrow[0] * KEY_PAN_PX, arrow[1] * KEY_PAN_PX]);
    else if (arrow) this.wishes.turn([arrow[0] * KEY_TURN_PX, arrow[1] * KEY_TURN_PX]);
    else if (event.key === "+" || event.key === "=") this.wishes.zoom(1.2);
    else if (event.key === "-") this.wishes.zoom(1 / 1.2);
    else if (event.key === "0") this.wishes.fit();
    else if (view) this.wishes.look(view);
    else return;
    event.preventDefault();
  }
}

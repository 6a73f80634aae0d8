// @ts-check
// Pointers and the wheel, told as what they mean: moving the picture, zooming, or pressing on
// a place. Two fingers, the middle button or the space bar always move the picture.

/** @typedef {import("../../lib/film-transform.js").Place} Place */

/**
 * @typedef {object} Wishes
 * @property {(at: Place, under: string) => string} nearest which handle is meant where several overlap
 * @property {() => boolean} placing whether a press means a place and not the picture
 * @property {(by: Place) => void} pan
 * @property {(factor: number, at: Place) => void} zoom
 * @property {(by: Place) => void} regray with Shift held
 * @property {(press: Press) => void} press
 * @property {(at: Place) => void} hover
 * @property {() => void} leave
 */
/**
 * @typedef {object} Press
 * @property {"start" | "move" | "end" | "cancel"} phase
 * @property {Place} at
 * @property {string | null} handle what lies under the start of the press
 * @property {boolean} touch
 * @property {boolean} moved whether the pointer has left its start
 */

const STILL_PX = 4;

export class Gestures {
  /**
   * @param {HTMLElement} host
   * @param {Wishes} wishes
   */
  constructor(host, wishes) {
    this.host = host;
    this.wishes = wishes;
    /** @type {Map<number, Place>} */
    this.down = new Map();
    this.spaceHeld = false;
    /** @type {{ id: number, start: Place, handle: string | null, touch: boolean, moved: boolean } | null} */
    this.pressing = null;
    /** @type {"pan" | "gray" | null} */
    this.moving = null;
    host.addEventListener("pointerdown", (event) => this.start(event));
    host.addEventListener("pointermove", (event) => this.move(event));
    host.addEventListener("pointerup", (event) => this.end(event));
    host.addEventListener("pointercancel", (event) => this.end(event));
    host.addEventListener("pointerleave", () => this.wishes.leave());
    host.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    host.addEventListener("mousedown", (event) => {
      // The browser would give the focus to whatever handle lies under the pointer.
      event.preventDefault();
      if (!(event.target instanceof Element) || !event.target.closest("[data-no-gesture]")) host.focus({ preventScroll: true });
    });
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
    if (!(event.target instanceof Element) || event.target.closest("[data-no-gesture]")) return;
    const at = this.placeOf(event);
    this.down.set(event.pointerId, at);
    this.host.setPointerCapture(event.pointerId);
    if (this.down.size === 2) {
      this.cancelPress();
      this.moving = null;
      return;
    }
    if (this.down.size > 2) return;
    const under = event.target.closest("[data-handle]")?.getAttribute("data-handle") ?? null;
    const handle = under === null ? null : this.wishes.nearest(at, under);
    if (event.button === 1 || this.spaceHeld) {
      event.preventDefault();
      this.moving = "pan";
    } else if (event.button !== 0) {
      this.down.delete(event.pointerId);
    } else if (handle !== null || this.wishes.placing()) {
      const touch = event.pointerType === "touch";
      this.pressing = { id: event.pointerId, start: at, handle, touch, moved: false };
      this.wishes.press({ phase: "start", at, handle, touch, moved: false });
    } else {
      this.moving = event.shiftKey ? "gray" : "pan";
    }
  }

  /** @param {PointerEvent} event */
  move(event) {
    const at = this.placeOf(event);
    const before = this.down.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType === "mouse") this.wishes.hover(at);
      return;
    }
    if (this.down.size === 2) this.pinch(event.pointerId, at);
    else if (this.pressing?.id === event.pointerId) {
      const { start, handle, touch } = this.pressing;
      this.pressing.moved ||= Math.hypot(at[0] - start[0], at[1] - start[1]) > STILL_PX;
      this.wishes.press({ phase: "move", at, handle, touch, moved: this.pressing.moved });
    } else if (this.moving === "pan") this.wishes.pan([at[0] - before[0], at[1] - before[1]]);
    else if (this.moving === "gray") this.wishes.regray([at[0] - before[0], at[1] - before[1]]);
    this.down.set(event.pointerId, at);
  }

  /**
   * @param {number} id
   * @param {Place} at
   */
  pinch(id, at) {
    const [other] = [...this.down].filter(([key]) => key !== id).map(([, place]) => place);
    const before = this.down.get(id);
    if (!other || !before) return;
    const middle = /** @type {Place} */ ([(at[0] + other[0]) / 2, (at[1] + other[1]) / 2]);
    const apart = Math.hypot(before[0] - other[0], before[1] - other[1]);
    const now = Math.hypot(at[0] - other[0], at[1] - other[1]);
    this.wishes.pan([(at[0] - before[0]) / 2, (at[1] - before[1]) / 2]);
    if (apart > 8) this.wishes.zoom(now / apart, middle);
  }

  /** @param {PointerEvent} event */
  end(event) {
    this.down.delete(event.pointerId);
    if (this.pressing?.id === event.pointerId) {
      const { handle, touch, moved } = this.pressing;
      this.pressing = null;
      const phase = event.type === "pointercancel" ? "cancel" : "end";
      this.wishes.press({ phase, at: this.placeOf(event), handle, touch, moved });
    }
    if (this.down.size === 0) this.moving = null;
  }

  cancelPress() {
    if (!this.pressing) return;
    const { start, handle, touch, moved } = this.pressing;
    this.pressing = null;
    this.wishes.press({ phase: "cancel", at: start, handle, touch, moved });
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 24 : 1;
    const speed = event.ctrlKey ? 0.01 : 0.0016;
    this.wishes.zoom(Math.exp(-event.deltaY * lines * speed), this.placeOf(event));
  }

  /**
   * @param {KeyboardEvent} event
   * @param {boolean} held
   */
  space(event, held) {
    if (event.code !== "Space" || event.target !== this.host) {
      if (!held && event.code === "Space") this.spaceHeld = false;
      return;
    }
    if (held) event.preventDefault();
    this.spaceHeld = held;
    this.host.classList.toggle("moves", held);
  }
}

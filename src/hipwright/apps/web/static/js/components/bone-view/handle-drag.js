// @ts-check
// Moving a landmark's handle with the pointer or the arrow keys: told as rays into the scene.

/** @typedef {import("./bone-view.js").BoneView} BoneView */
/** @typedef {import("./bone-view.js").Ray} Ray */
/** @typedef {{ key: string, phase: "move" | "end", ray: Ray }} Dragged */

const KEYS_REST_MS = 500;

export class HandleDrag {
  /**
   * @param {BoneView} view
   * @param {(dragged: Dragged) => void} tell
   * @param {AbortSignal} signal
   */
  constructor(view, tell, signal) {
    this.view = view;
    this.tell = tell;
    /** @type {{ id: number, key: string, moved: boolean, away: [number, number] } | null} */
    this.dragging = null;
    /** @type {number | undefined} */
    this.timer = undefined;
    const { handles } = view.overlay;
    handles.addEventListener("pointerdown", (event) => this.start(event), { signal });
    handles.addEventListener("pointermove", (event) => this.move(event), { signal });
    handles.addEventListener("pointerup", (event) => this.end(event), { signal });
    handles.addEventListener("pointercancel", () => {
      this.dragging = null;
    }, { signal });
    handles.addEventListener("keydown", (event) => this.key(event), { signal });
  }

  /** @param {Event} event @returns {HTMLButtonElement | null} */
  handleOf(event) {
    const found = event.target instanceof Element ? event.target.closest("[data-handle]") : null;
    return found instanceof HTMLButtonElement && !found.classList.contains("fixed") ? found : null;
  }

  /** Where a handle is on the picture. @param {string} key @returns {[number, number] | null} */
  placeOf(key) {
    const one = this.view.overlay.landmarks.get(key);
    const at = one && this.view.scene?.project(one.landmark.at);
    return at ? [at[0], at[1]] : null;
  }

  /** @param {PointerEvent} event */
  start(event) {
    const handle = this.handleOf(event);
    const key = handle?.dataset["handle"];
    const place = key && this.placeOf(key);
    if (!handle || !key || !place || event.button !== 0) return;
    event.preventDefault();
    handle.focus({ preventScroll: true });
    handle.setPointerCapture(event.pointerId);
    const at = this.pointOf(event);
    this.dragging = { id: event.pointerId, key, moved: false, away: [place[0] - at[0], place[1] - at[1]] };
  }

  /** @param {PointerEvent} event @returns {[number, number]} */
  pointOf(event) {
    const box = this.view.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {PointerEvent} event */
  move(event) {
    if (this.dragging?.id !== event.pointerId) return;
    this.dragging.moved = true;
    this.report(event, "move");
  }

  /** @param {PointerEvent} event */
  end(event) {
    if (this.dragging?.id !== event.pointerId) return;
    if (this.dragging.moved) this.report(event, "end");
    this.dragging = null;
  }

  /** @param {PointerEvent} event @param {"move" | "end"} phase */
  report(event, phase) {
    const { dragging } = this;
    if (!dragging) return;
    const [x, y] = this.pointOf(event);
    this.send(dragging.key, phase, [x + dragging.away[0], y + dragging.away[1]]);
  }

  /** @param {string} key @param {"move" | "end"} phase @param {[number, number]} at */
  send(key, phase, at) {
    const ray = this.view.scene?.ray(at);
    if (ray) this.tell({ key, phase, ray });
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const key = this.handleOf(event)?.dataset["handle"];
    /** @type {Record<string, [number, number]>} */
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const arrow = arrows[event.key];
    const place = key && this.placeOf(key);
    if (!key || !arrow || !place) return;
    event.preventDefault();
    event.stopPropagation();
    const far = event.shiftKey ? 10 : 1;
    this.send(key, "move", [place[0] + far * arrow[0], place[1] + far * arrow[1]]);
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => {
      const now = this.placeOf(key);
      if (now) this.send(key, "end", now);
    }, KEYS_REST_MS);
  }
}

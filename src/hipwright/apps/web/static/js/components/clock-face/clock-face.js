// @ts-check
// <clock-face>: the drawn clock from the server, on which an hour can be pressed. The table
// beside it is its twin for keys and for screen readers.
//
// Events: clock-choose (detail: { definition, side, hour }).

const NEAR_PX = 26;

export class ClockFace extends HTMLElement {
  connectedCallback() {
    this.addEventListener("click", (event) => this.press(event));
    this.addEventListener("pointermove", (event) => this.classList.toggle("near", this.nearest(event) !== null));
  }

  /** @param {MouseEvent} event @returns {SVGElement | null} */
  nearest(event) {
    /** @type {SVGElement | null} */
    let found = null;
    let least = NEAR_PX;
    for (const mark of this.querySelectorAll("[data-hour]")) {
      if (!(mark instanceof SVGElement)) continue;
      const box = mark.getBoundingClientRect();
      const away = Math.hypot(event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2);
      if (away < least) [least, found] = [away, mark];
    }
    return found;
  }

  /** @param {MouseEvent} event */
  press(event) {
    const mark = this.nearest(event);
    const hip = mark?.closest("[data-hip]")?.getAttribute("data-hip")?.toLowerCase() ?? "";
    const { definition, own = "", other = "" } = this.dataset;
    if (!mark || !definition) return;
    const side = hip.startsWith(own) ? own : other;
    this.dispatchEvent(new CustomEvent("clock-choose", {
      bubbles: true,
      detail: { definition, side, hour: Number(mark.getAttribute("data-hour")) },
    }));
  }

  /** Mark the hour that is drawn on the bone. @param {string | null} side @param {number | null} hour */
  mark(side, hour) {
    for (const mark of this.querySelectorAll("[data-hour]")) {
      const hip = mark.closest("[data-hip]")?.getAttribute("data-hip")?.toLowerCase() ?? "";
      const same = side !== null && hip.startsWith(side) && Number(mark.getAttribute("data-hour")) === hour;
      mark.classList.toggle("chosen", same);
    }
  }
}

export function registerClockFace() {
  if (!customElements.get("clock-face")) customElements.define("clock-face", ClockFace);
}

// @ts-check
// A round glass with the film's own pixels under the cursor, much larger.

/** @typedef {import("../../lib/film-transform.js").Place} Place */
/** @typedef {import("../../lib/edge-snap.js").Gray} Gray */
/** @typedef {import("../../lib/gray-window.js").GrayWindow} GrayWindow */

const GLASS_PX = 148;
const AWAY_PX = 30;

export class Magnifier {
  /** @param {HTMLElement} host */
  constructor(host) {
    this.host = host;
    this.canvas = document.createElement("canvas");
    this.canvas.className = "magnifier";
    this.canvas.hidden = true;
    this.canvas.setAttribute("aria-hidden", "true");
    this.source = document.createElement("canvas");
    host.append(this.canvas);
  }

  hide() {
    this.canvas.hidden = true;
  }

  /**
   * @param {object} look
   * @param {Gray} look.gray
   * @param {number} look.aspect
   * @param {Place} look.place film pixels
   * @param {Place} look.cursor screen pixels
   * @param {number} look.enlarged screen pixels a film pixel
   * @param {GrayWindow} look.window
   * @param {boolean} look.inverted
   * @param {boolean} look.touch
   */
  show({ gray, aspect, place, cursor, enlarged, window: shade, inverted, touch }) {
    const half = Math.ceil(GLASS_PX / enlarged / 2) + 1;
    this.copy(gray, place, half, shade, inverted);
    const ratio = globalThis.devicePixelRatio || 1;
    const wide = Math.round(GLASS_PX * ratio);
    if (this.canvas.width !== wide) this.canvas.width = this.canvas.height = wide;
    const context = this.canvas.getContext("2d");
    if (!context) return;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.imageSmoothingEnabled = false;
    context.fillStyle = "#000";
    context.fillRect(0, 0, GLASS_PX, GLASS_PX);
    const x = GLASS_PX / 2 - (place[0] - Math.round(place[0]) + half + 0.5) * enlarged;
    const y = GLASS_PX / 2 - (place[1] - Math.round(place[1]) + half + 0.5) * enlarged * aspect;
    const length = (2 * half + 1) * enlarged;
    context.drawImage(this.source, x, y, length, length * aspect);
    cross(context);
    this.put(cursor, touch);
  }

  /**
   * @param {Gray} gray
   * @param {Place} place
   * @param {number} half
   * @param {GrayWindow} shade
   * @param {boolean} inverted
   */
  copy(gray, place, half, shade, inverted) {
    const wide = 2 * half + 1;
    this.source.width = this.source.height = wide;
    const target = this.source.getContext("2d");
    if (!target) return;
    const image = target.createImageData(wide, wide);
    const low = shade.center - shade.width / 2;
    const left = Math.round(place[0]) - half;
    const top = Math.round(place[1]) - half;
    for (let row = 0; row < wide; row += 1) {
      for (let column = 0; column < wide; column += 1) {
        const x = left + column;
        const y = top + row;
        const to = 4 * (row * wide + column);
        if (x < 0 || y < 0 || x >= gray.columns || y >= gray.rows) continue;
        const share = (Number(gray.values[y * gray.columns + x]) - low) / Math.max(shade.width, 1e-6);
        const value = 255 * Math.min(Math.max(inverted ? 1 - share : share, 0), 1);
        image.data[to] = image.data[to + 1] = image.data[to + 2] = value;
        image.data[to + 3] = 255;
      }
    }
    target.putImageData(image, 0, 0);
  }

  /**
   * @param {Place} cursor
   * @param {boolean} touch
   */
  put([x, y], touch) {
    const box = this.host.getBoundingClientRect();
    const away = touch ? AWAY_PX + 40 : AWAY_PX;
    let left = x + away;
    let top = y - away - GLASS_PX;
    if (touch) left = x - GLASS_PX / 2;
    if (left + GLASS_PX > box.width) left = x - away - GLASS_PX;
    if (top < 0) top = y + away;
    this.canvas.style.transform = `translate(${Math.max(left, 0)}px, ${Math.max(top, 0)}px)`;
    this.canvas.hidden = false;
  }
}

/** @param {CanvasRenderingContext2D} context */
function cross(context) {
  const middle = GLASS_PX / 2;
  for (const [width, color] of /** @type {[number, string][]} */ ([[3, "#0009"], [1, "#fff"]])) {
    context.beginPath();
    for (const [a, b] of /** @type {[number, number][]} */ ([[0, middle - 5], [middle + 5, GLASS_PX]])) {
      context.moveTo(a, middle);
      context.lineTo(b, middle);
      context.moveTo(middle, a);
      context.lineTo(middle, b);
    }
    context.lineWidth = width;
    context.strokeStyle = color;
    context.stroke();
  }
}

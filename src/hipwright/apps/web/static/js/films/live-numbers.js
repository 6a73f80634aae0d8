// @ts-check
// The line to the server that measures: what has moved goes out, what follows comes back.
//
// Events: "answer" (detail: Answer), "line" (detail: whether it is open).

import { NewestOnly } from "../lib/newest-only.js";
import { difference, keyOf } from "../lib/placed.js";

/** @typedef {import("../lib/placed.js").Placed} Placed */
/** @typedef {import("../lib/placed.js").SideName} SideName */
/** @typedef {{ id: string, side: SideName }} Chosen */
/** @typedef {{ items: import("../lib/placed.js").Item[], dropped: Chosen[], chosen: Chosen | null, all: boolean }} Change */

const SIGNED_OUT = 4401;
const LONGEST_WAIT_MS = 10_000;

/** @param {Change} earlier @param {Change} later @returns {Change} */
export function mergedChange(earlier, later) {
  if (later.all) return later;
  const items = new Map(earlier.items.map((item) => [keyOf(item.id, item.side), item]));
  const dropped = new Map(earlier.dropped.map((gone) => [keyOf(gone.id, gone.side), gone]));
  for (const gone of later.dropped) {
    items.delete(keyOf(gone.id, gone.side));
    dropped.set(keyOf(gone.id, gone.side), gone);
  }
  for (const item of later.items) {
    dropped.delete(keyOf(item.id, item.side));
    items.set(keyOf(item.id, item.side), item);
  }
  return {
    items: [...items.values()],
    dropped: earlier.all ? [] : [...dropped.values()],
    chosen: later.chosen,
    all: earlier.all,
  };
}

export class LiveNumbers extends EventTarget {
  /**
   * @param {string} image
   * @param {Placed} placed
   * @param {string} by whose reading it is
   */
  constructor(image, placed, by) {
    super();
    const query = new URLSearchParams({ by });
    this.address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/films/${image}/live?${query}`;
    this.placed = placed;
    /** @type {Placed} */
    this.told = new Map();
    /** @type {Chosen | null} */
    this.chosen = null;
    /** @type {WebSocket | null} */
    this.socket = null;
    this.waitMs = 250;
    /** @type {NewestOnly<Change>} */
    this.queue = new NewestOnly({
      merge: mergedChange,
      send: (seq, change) => this.socket?.send(JSON.stringify({ seq, ...change })),
    });
    this.open();
  }

  get isOpen() {
    return this.socket?.readyState === WebSocket.OPEN;
  }

  open() {
    const socket = new WebSocket(this.address);
    this.socket = socket;
    socket.addEventListener("open", () => {
      this.waitMs = 250;
      this.queue.reset();
      this.queue.offer({ items: [...this.placed.values()], dropped: [], chosen: this.chosen, all: true });
      this.told = this.placed;
      this.tell("line", true);
    });
    socket.addEventListener("message", ({ data }) => {
      /** @type {import("./facts.js").Answer} */
      const answer = JSON.parse(data);
      this.tell("answer", answer);
      this.queue.answered(answer.seq);
    });
    socket.addEventListener("close", ({ code }) => {
      this.tell("line", false);
      if (code === SIGNED_OUT) {
        this.tell("locked", true);
        return;
      }
      setTimeout(() => this.open(), this.waitMs);
      this.waitMs = Math.min(2 * this.waitMs, LONGEST_WAIT_MS);
    });
  }

  /** @param {Placed} placed */
  follow(placed) {
    this.placed = placed;
    if (!this.isOpen) return;
    const changed = difference(this.told, placed);
    this.told = placed;
    if (changed.items.length + changed.dropped.length === 0) return;
    this.queue.offer({ ...changed, chosen: this.chosen, all: false });
  }

  /** @param {Chosen | null} chosen */
  choose(chosen) {
    this.chosen = chosen;
    if (this.isOpen) this.queue.offer({ items: [], dropped: [], chosen, all: false });
  }

  /** @param {string} name @param {unknown} detail */
  tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}

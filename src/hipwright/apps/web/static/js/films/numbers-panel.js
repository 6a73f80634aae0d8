// @ts-check
// The table of numbers: value, interval, classes, other side; why others are not measured.
//
// Events: "choose" (detail: { id, side } or null).

import { keyOf } from "../lib/placed.js";
import { made, part, sideWord } from "./facts.js";
import { rangeBar } from "./range-bar.js";

/** @typedef {import("./facts.js").Row} Row */
/** @typedef {import("./facts.js").Measurement} Measurement */

export class NumbersPanel extends EventTarget {
  /**
   * @param {HTMLElement} panel
   * @param {import("./facts.js").FilmFacts} facts
   */
  constructor(panel, facts) {
    super();
    this.facts = facts;
    this.table = part("[data-numbers]", HTMLTableElement, panel);
    this.missing = part("[data-not-measured]", HTMLElement, panel);
    this.missingCount = part("[data-not-measured-count]", HTMLElement, panel);
    this.empty = part("[data-no-numbers]", HTMLElement, panel);
    /** @type {Map<string, Row>} */
    this.rows = new Map();
    /** @type {{ id: string, side: import("../lib/placed.js").SideName } | null} */
    this.chosen = null;
    /** @type {Map<string, HTMLTableSectionElement>} */
    this.bodies = new Map();
    this.shownReasons = "";
    this.table.addEventListener("click", (event) => this.click(event));
    this.paintAll();
  }

  /** @param {readonly Row[]} rows */
  take(rows) {
    const ids = new Set(rows.map((row) => row.id));
    for (const row of rows) this.rows.set(keyOf(row.id, row.side), row);
    for (const id of ids) this.paintOne(id);
    const reasons = this.reasons();
    if (reasons !== this.shownReasons) this.paintMissing();
    this.shownReasons = reasons;
  }

  /** What the list of reasons depends on. */
  reasons() {
    return [...this.rows.values()].map((row) => `${row.id} ${row.side} ${row.reason ?? ""}`).join();
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    const body = event.target.closest("tbody[data-id]");
    const id = body?.getAttribute("data-id");
    if (!id) return;
    const side = event.target.closest("[data-side]")?.getAttribute("data-side") ?? this.ownSide(id);
    this.choose({ id, side: side === "left" || side === "right" ? side : null });
  }

  /** @param {string} id */
  ownSide(id) {
    return this.facts.measurements.find((m) => m.id === id)?.midline ? null : this.facts.caseSide;
  }

  /** @param {{ id: string, side: import("../lib/placed.js").SideName } | null} chosen */
  choose(chosen) {
    const same = chosen && this.chosen && chosen.id === this.chosen.id && chosen.side === this.chosen.side;
    const before = this.chosen?.id;
    this.chosen = same ? null : chosen;
    for (const id of new Set([before, chosen?.id])) if (id) this.paintOne(id);
    this.dispatchEvent(new CustomEvent("choose", { detail: this.chosen }));
  }

  paintAll() {
    for (const measurement of this.facts.measurements) {
      const body = made("tbody", { "data-id": measurement.id });
      this.bodies.set(measurement.id, body);
      this.table.append(body);
      this.paintOne(measurement.id);
    }
    this.paintMissing();
  }

  /** @param {string} id @param {import("../lib/placed.js").SideName} side */
  measured(id, side) {
    const row = this.rows.get(keyOf(id, side));
    return row?.text === undefined ? null : row;
  }

  /** @param {string} id */
  paintOne(id) {
    const measurement = this.facts.measurements.find((m) => m.id === id);
    const body = this.bodies.get(id);
    if (!measurement || !body) return;
    const own = this.ownSide(id);
    const other = own === null ? null : (this.facts.sides.find((side) => side !== own) ?? null);
    const mine = this.measured(id, own);
    const others = other === null ? null : this.measured(id, other);
    body.hidden = mine === null && others === null;
    if (body.hidden) {
      body.replaceChildren();
      return;
    }
    const focused = body.contains(document.activeElement)
      ? document.activeElement?.getAttribute("data-focus") : null;
    body.className = this.chosen?.id === id ? "chosen" : "";
    body.replaceChildren(this.valueRow(measurement, mine, others, own, other), ...this.moreRow(this.shown(mine, others)));
    if (focused) /** @type {HTMLElement | null} */ (body.querySelector(`[data-focus="${focused}"]`))?.focus();
  }

  /** The side whose class and bar are shown. @param {Row | null} mine @param {Row | null} others */
  shown(mine, others) {
    const chosen = this.chosen;
    if (chosen && others && chosen.id === others.id && chosen.side === others.side) return others;
    return mine ?? others;
  }

  /**
   * @param {Measurement} measurement
   * @param {Row | null} mine
   * @param {Row | null} others
   * @param {import("../lib/placed.js").SideName} own
   * @param {import("../lib/placed.js").SideName} other
   */
  valueRow(measurement, mine, others, own, other) {
    const name = made("button", {
      type: "button", class: "choose", "data-focus": "own",
      "aria-pressed": String(this.chosen?.id === measurement.id && this.chosen.side !== other),
      ...(own ? { "data-side": own } : {}),
    }, measurement.name);
    const side = other === null || others === null ? null : made("button", {
      type: "button", class: "choose figures", "data-side": other, "data-focus": "other",
      "aria-pressed": String(this.chosen?.id === measurement.id && this.chosen.side === other),
      "aria-label": `${measurement.name}, ${sideWord(other)}: ${others.text}`,
    }, others.text ?? "");
    return made("tr", {},
      made("th", { scope: "row" }, name),
      made("td", { class: `number${mine?.quality ? " doubtful" : ""}` },
        mine ? made("b", {}, mine.text ?? "") : made("span", { class: "faint" }, "–"),
        mine ? made("span", { class: "interval" }, mine.interval ?? "") : null),
      made("td", { class: "number other" }, side));
  }

  /** @param {Row | null} row */
  moreRow(row) {
    if (!row) return [];
    const words = row.class
      ? made("p", { class: "class-words" }, row.class.words,
        made("small", {}, ` ${row.class.scheme} [${row.class.seen}${row.class.variant === "this" ? "" : `, variant ${row.class.variant}`}]`))
      : null;
    const settles = row.class?.split && row.class.settles
      ? made("p", { class: "settles" }, `Would settle it: ${row.class.settles}`) : null;
    const warned = row.quality ? made("p", { class: "quality" }, row.quality) : null;
    const notes = (row.notes ?? []).map((note) => made("p", { class: "quality" }, note));
    if (!row.bar && !words && !warned && notes.length === 0) return [];
    const cell = made("td", { colspan: "3" }, row.bar ? rangeBar(row.bar) : null, words, settles, warned, ...notes);
    return [made("tr", { class: "more" }, cell)];
  }

  paintMissing() {
    /** @type {Map<string, string[]>} */
    const reasons = new Map();
    for (const measurement of this.facts.measurements) {
      const row = this.rows.get(keyOf(measurement.id, this.ownSide(measurement.id)));
      if (row?.reason === undefined) continue;
      reasons.set(row.reason, [...(reasons.get(row.reason) ?? []), measurement.name]);
    }
    const items = [...reasons].flatMap(([reason, names]) =>
      names.map((name) => made("li", {}, made("b", {}, name), `: ${reason}`)));
    this.missing.replaceChildren(...items);
    this.missingCount.textContent = String(items.length);
    const some = [...this.rows.values()].some((row) => row.text !== undefined);
    this.empty.hidden = some;
    this.table.hidden = !some;
  }
}

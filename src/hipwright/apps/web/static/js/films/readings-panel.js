// @ts-check
// Whose reading this is, which one, its versions, and other readings as faint marks.

import { placedFrom } from "../lib/placed.js";
import { made, part } from "./facts.js";
import { ask, send } from "./sending.js";

/** @typedef {import("./facts.js").KeptReading} KeptReading */
/** @typedef {import("./facts.js").ReadingFacts} ReadingFacts */
/**
 * @typedef {object} Given
 * @property {import("./facts.js").ScreenFacts} facts
 * @property {import("./reading-model.js").ReadingModel} model
 * @property {import("./overlay.js").Overlay} overlay
 * @property {import("./autosave.js").Autosave} saving
 * @property {(words: string) => void} announce
 */

/** The code that was last used in this browser, offered again after a new sign-in. */
const LAST_READER = "hipwright-reader";

/** @param {string} observer */
export function readerWord(observer) {
  return observer.replace(/^human:/, "");
}

export class ReadingsPanel {
  /**
   * @param {HTMLElement} panel
   * @param {Given} given
   */
  constructor(panel, given) {
    this.panel = panel;
    this.given = given;
    /** @type {ReadingFacts[]} */
    this.readings = given.facts.readings;
    this.versions = part("[data-versions]", HTMLElement, panel);
    this.compare = part("[data-compare]", HTMLSelectElement, panel);
    this.form = part("[data-reader-form]", HTMLFormElement, panel);
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.sign();
    });
    this.compare.addEventListener("change", () => this.compareWith(this.compare.value));
    panel.addEventListener("click", (event) => this.click(event));
    given.saving.addEventListener("saved", () => this.refresh());
    given.saving.addEventListener("stale", (event) =>
      this.settle(/** @type {CustomEvent<KeptReading | null>} */ (event).detail));
    part("[data-history]", HTMLDetailsElement, panel).addEventListener("toggle", () => this.listVersions());
    part("input", HTMLInputElement, this.form).value = localStorage.getItem(LAST_READER) ?? "";
    this.paint();
  }

  paint() {
    const { facts } = this.given;
    const own = this.own(facts.observer);
    const links = own
      .filter((r) => r.reading !== facts.reading)
      .map((r) => made("a", { href: this.address(r.reading) }, `reading ${r.reading}`));
    const next = Math.max(facts.reading, ...own.map((r) => r.reading)) + 1;
    part("[data-own]", HTMLElement, this.panel).replaceChildren(
      ...links.flatMap((link) => [link, " "]),
    );
    const again = part("[data-read-again]", HTMLAnchorElement, this.panel);
    again.href = this.address(next);
    again.hidden = facts.observer === null || own.length === 0;
    this.paintCompare();
  }

  /** @param {string | null} observer */
  own(observer) {
    return this.readings.filter((r) => r.observer === observer);
  }

  /** Whose reading is on the picture, and which. */
  get shown() {
    const { facts } = this.given;
    return facts.lookedAt ?? { observer: facts.observer, reading: facts.reading };
  }

  /** @param {number} reading */
  address(reading) {
    const query = new URLSearchParams({ reading: String(reading) });
    if (this.given.facts.case) query.set("case", this.given.facts.case);
    return `/films/${this.given.facts.image}?${query}`;
  }

  /** A repeat reading stays blind: the reader's own earlier ones show once it has as many landmarks. */
  paintCompare() {
    const { facts, model } = this.given;
    const { shown } = this;
    const others = this.readings.filter((r) => r.observer !== shown.observer || r.reading !== shown.reading);
    const most = Math.max(0, ...others.filter((r) => r.observer === facts.observer).map((r) => r.count));
    const isBlind = facts.reading > 1 && model.placed.size < most;
    const options = others.map((r) =>
      made("option", { value: `${r.reading} ${r.observer}` }, `${readerWord(r.observer)}, reading ${r.reading}`));
    const chosen = this.compare.value;
    this.compare.replaceChildren(made("option", { value: "" }, "nothing"), ...(isBlind ? [] : options));
    this.compare.value = [...this.compare.options].some((o) => o.value === chosen) ? chosen : "";
    part("[data-compare-field]", HTMLElement, this.panel).hidden = others.length === 0;
    part("[data-blind]", HTMLElement, this.panel).hidden = !isBlind;
  }

  /** @param {string} which */
  async compareWith(which) {
    const { overlay, facts } = this.given;
    const [reading = "", ...observer] = which.split(" ");
    overlay.ghosts = [];
    if (which !== "") {
      const [newest] = await this.history(observer.join(" "), Number(reading));
      overlay.ghosts = newest?.items ?? [];
    }
    overlay.redraw();
    this.given.announce(which === "" ? "No other reading is shown." : `Reading ${facts.reading} with another one shown faintly.`);
  }

  /** @param {string} observer @param {number} reading @returns {Promise<KeptReading[]>} */
  history(observer, reading) {
    const query = new URLSearchParams({ observer, reading: String(reading) });
    return ask(`/films/${this.given.facts.image}/history?${query}`);
  }

  async refresh() {
    this.readings = await ask(`/films/${this.given.facts.image}/readings`);
    this.paint();
    await this.listVersions();
  }

  async listVersions() {
    const { observer, reading } = this.shown;
    const details = part("[data-history]", HTMLDetailsElement, this.panel);
    details.hidden = observer === null;
    if (!details.open || observer === null) return;
    this.kept = await this.history(observer, reading);
    const { lookedAt } = this.given.facts;
    const current = lookedAt?.version ?? this.given.saving.version;
    const rows = this.kept.map((version) => made("li", {},
      made("span", {}, `Version ${version.version}, ${new Date(version.savedAt).toLocaleString("en-US", { dateStyle: "medium", timeStyle: "short" })}, ${version.count} landmarks`),
      version.version === current ? made("span", { class: "tag" }, "now")
        : lookedAt ? null
        : made("button", { type: "button", class: "quiet", "data-restore": String(version.version) }, "Bring back")));
    this.versions.replaceChildren(...(rows.length > 0 ? rows : [made("li", { class: "soft" }, "Nothing is saved yet.")]));
  }

  /** @param {MouseEvent} event */
  click(event) {
    if (!(event.target instanceof Element)) return;
    const restore = event.target.closest("[data-restore]")?.getAttribute("data-restore");
    const version = this.kept?.find((v) => String(v.version) === restore);
    if (version) {
      this.given.model.replaceAll(version.items);
      this.given.announce(`Version ${version.version} is brought back and will be saved as a new version.`);
    }
    if (event.target.closest("[data-change-reader]")) this.form.hidden = !this.form.hidden;
  }

  async sign() {
    const input = part("input", HTMLInputElement, this.form);
    const fault = part("[data-reader-fault]", HTMLElement, this.form);
    const code = input.value.trim();
    try {
      await send("/films/reader", { code });
    } catch (error) {
      fault.textContent = "Use 1 to 12 letters, digits or hyphens.";
      input.setAttribute("aria-invalid", "true");
      return;
    }
    localStorage.setItem(LAST_READER, code);
    const { facts, saving, model } = this.given;
    await saving.save();
    if (facts.lookedAt !== null || facts.observer !== null) this.openOwn(`human:${code}`);
    else if (model.placed.size === 0) location.reload();
    else this.adopt(code);
  }

  /** The reader's newest reading, or an empty first one: nobody else's landmarks. @param {string} observer */
  openOwn(observer) {
    location.assign(this.address(Math.max(1, ...this.own(observer).map((r) => r.reading))));
  }

  /** From now on this session reads as who made that reading. @param {ReadingFacts} reading */
  async goOn({ observer, reading }) {
    await send("/films/reader", { code: readerWord(observer) });
    location.assign(this.address(reading));
  }

  /** An empty reading of one's own; who reads is asked for first. */
  readOneself() {
    const { observer } = this.given.facts;
    if (observer !== null) {
      this.openOwn(observer);
      return;
    }
    part("details.fold", HTMLDetailsElement, this.panel).open = true;
    this.form.hidden = false;
    part("input", HTMLInputElement, this.form).focus();
  }

  /**
   * What is on the screen already becomes this reader's: a further reading, if there are some.
   * @param {string} code
   */
  adopt(code) {
    const { facts, saving } = this.given;
    const own = this.readings.filter((r) => r.observer === `human:${code}`).map((r) => r.reading);
    saving.reading = facts.reading = own.includes(facts.reading) ? Math.max(...own) + 1 : facts.reading;
    saving.observer = facts.observer = `human:${code}`;
    part("[data-reader]", HTMLElement, this.panel).textContent = code;
    part("[data-reading]", HTMLElement, this.panel).textContent = String(facts.reading);
    this.form.hidden = true;
    history.replaceState(null, "", this.address(facts.reading));
    saving.follow(saving.placed);
    this.paint();
  }

  /** Somebody else saved first: both are shown, and the reader chooses. @param {KeptReading | null} kept */
  settle(kept) {
    const { overlay, saving, model } = this.given;
    const dialog = part("#films-stale", HTMLDialogElement);
    const later = part("[data-settle]", HTMLButtonElement);
    later.onclick = () => this.settle(kept);
    if (kept) {
      overlay.ghosts = kept.items;
      overlay.redraw();
      part("[data-kept]", HTMLElement, dialog).textContent =
        `Version ${kept.version}, saved ${new Date(kept.savedAt).toLocaleString("en-US")}, ${kept.count} landmarks`;
      part("[data-mine]", HTMLElement, dialog).textContent = `${model.placed.size} landmarks on this screen`;
    }
    part("[data-take-kept]", HTMLButtonElement, dialog).onclick = () => {
      if (kept) {
        const placed = placedFrom(kept.items);
        saving.accept(kept.version, placed);
        model.set(placed, null);
      }
      dialog.close();
    };
    part("[data-keep-mine]", HTMLButtonElement, dialog).onclick = () => {
      saving.overwrite(kept?.version ?? 0);
      dialog.close();
    };
    dialog.addEventListener("close", () => {
      overlay.ghosts = [];
      overlay.redraw();
      later.hidden = !saving.isStale;
    }, { once: true });
    dialog.showModal();
  }
}

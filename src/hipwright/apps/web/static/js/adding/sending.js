// Sends files to the server, a few at a time, and shows how far it has come.

const AT_ONCE = 4;

export class Sending {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.place = place;
    this.controller = new AbortController();
    this.files = 0;
    this.bytes = 0;
    this.sentBytes = 0;
    this.token =
      document.querySelector('meta[name="csrf-token"]')?.getAttribute("content") ?? "";
  }

  /**
   * @param {AsyncIterable<{ file: File, path: string }>} files
   * @param {string} into code of the case they are for, or nothing
   * @returns {Promise<string>} where to go next; empty if it was stopped
   */
  async send(files, into) {
    this.show("sending");
    const { address } = await this.ask("POST", "/adding", JSON.stringify({ into }), {
      "Content-Type": "application/json",
    });
    const under = new Set();
    try {
      for await (const { file, path } of files) {
        if (this.controller.signal.aborted) break;
        this.bytes += file.size;
        const one = this.sendOne(address, file, path).finally(() => under.delete(one));
        under.add(one);
        if (under.size >= AT_ONCE) await Promise.race(under);
      }
      await Promise.all(under);
      if (this.controller.signal.aborted) throw new DOMException("stopped", "AbortError");
      const { next } = await this.ask("POST", `${address}/look`, null, {});
      return next;
    } catch (error) {
      await Promise.allSettled(under);
      await this.discard(address);
      if (error instanceof DOMException && error.name === "AbortError") return "";
      throw error;
    }
  }

  stop() {
    this.controller.abort();
  }

  reset() {
    this.show("drop");
  }

  /** @param {unknown} error */
  fail(error) {
    this.show("drop");
    const fault = this.place.querySelector("[data-fault]");
    if (!(fault instanceof HTMLElement)) return;
    const words = fault.querySelector("p");
    if (words) words.textContent = error instanceof Error ? error.message : String(error);
    fault.hidden = false;
  }

  /**
   * @param {string} address
   * @param {File} file
   * @param {string} path
   */
  async sendOne(address, file, path) {
    await this.ask("PUT", `${address}/files`, file, {
      "Content-Type": "application/octet-stream",
      "X-File-Path": encodeURIComponent(path),
    });
    this.files += 1;
    this.sentBytes += file.size;
    this.tell();
  }

  /** @param {string} address */
  async discard(address) {
    await fetch(`${address}/cancel`, {
      method: "POST",
      headers: { "X-CSRF-Token": this.token },
    }).catch(() => undefined);
  }

  /**
   * @param {string} method
   * @param {string} address
   * @param {BodyInit | null} body
   * @param {Record<string, string>} headers
   * @returns {Promise<any>}
   */
  async ask(method, address, body, headers) {
    const answer = await fetch(address, {
      method,
      body,
      headers: { ...headers, Accept: "application/json", "X-CSRF-Token": this.token },
      signal: this.controller.signal,
    });
    const facts = await answer.json();
    if (!answer.ok) throw new Error(facts.error?.message ?? `The server answered ${answer.status}.`);
    return facts;
  }

  tell() {
    const words = this.place.querySelector("[data-words]");
    const bar = this.place.querySelector("[data-bar]");
    const mb = (this.sentBytes / 1e6).toFixed(this.sentBytes < 1e8 ? 1 : 0);
    if (words) words.textContent = `Bringing files in: ${this.files} files, ${mb} MB`;
    if (bar instanceof HTMLProgressElement) bar.value = this.bytes ? this.sentBytes / this.bytes : 0;
  }

  /** @param {"drop" | "sending"} what */
  show(what) {
    for (const name of ["drop", "sending"]) {
      const part = this.place.querySelector(`.${name}`);
      if (part instanceof HTMLElement) part.hidden = name !== what;
    }
    const fault = this.place.querySelector("[data-fault]");
    if (fault instanceof HTMLElement) fault.hidden = true;
  }
}

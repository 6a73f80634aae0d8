// @ts-check
// Requests to the server, with the page's token.

export class Refused extends Error {
  /**
   * @param {number} status
   * @param {any} body
   */
  constructor(status, body) {
    super(body?.error?.message ?? `hipwright answered ${status}.`);
    this.status = status;
    this.body = body;
  }
}

/**
 * @param {string} address
 * @param {object} body
 * @returns {Promise<any>}
 */
export async function send(address, body) {
  const token = document.querySelector('meta[name="csrf-token"]')?.getAttribute("content") ?? "";
  const answer = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRF-Token": token },
    body: JSON.stringify(body),
  });
  return contentOf(answer);
}

/**
 * @param {string} address
 * @returns {Promise<any>}
 */
export async function ask(address) {
  return contentOf(await fetch(address, { headers: { Accept: "application/json" } }));
}

/** @param {Response} answer */
async function contentOf(answer) {
  const body = await answer.json().catch(() => null);
  if (!answer.ok) throw new Refused(answer.status, body);
  return body;
}

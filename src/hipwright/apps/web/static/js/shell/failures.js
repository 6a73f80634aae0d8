// When an answer fails to come, the page says so instead of doing nothing.

import { say } from "./say.js";

/** @param {Document} page */
export function listenForFailures(page) {
  page.addEventListener("htmx:sendError", () => {
    say("hipwright does not answer. Nothing was changed. Is it still running?");
  });
  // Only parts of pages may be put into a page; a refusal as data is told instead.
  page.addEventListener("htmx:beforeSwap", (event) => {
    const detail = /** @type {CustomEvent} */ (event).detail;
    const kind = detail.xhr.getResponseHeader("Content-Type") ?? "";
    if (detail.xhr.status < 400 || kind.startsWith("text/html")) return;
    detail.shouldSwap = false;
    say(wordsOf(detail.xhr));
  });
  page.addEventListener("htmx:responseError", (event) => {
    const answer = /** @type {CustomEvent<{ xhr: XMLHttpRequest }>} */ (event).detail.xhr;
    if (answer.status === 401) {
      window.location.assign("/locked");
      return;
    }
    say(wordsOf(answer));
  });
}

/** @param {XMLHttpRequest} answer */
function wordsOf(answer) {
  try {
    const { error } = JSON.parse(answer.responseText);
    return error.message;
  } catch {
    return "That did not work. Nothing was changed.";
  }
}

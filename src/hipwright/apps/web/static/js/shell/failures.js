// When an answer fails to come, the page says so instead of doing nothing.

import { say } from "./say.js";

/** @param {Document} page */
export function listenForFailures(page) {
  page.addEventListener("htmx:sendError", () => {
    say("hipwright does not answer. Nothing was changed. Is it still running?");
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

// `data-copies="id"` copies the words of that element; `data-copies-from="/path"` those of a page.

import { say } from "./say.js";

/** @param {Document} page */
export function listenForCopying(page) {
  page.addEventListener("click", async (event) => {
    if (!(event.target instanceof Element)) return;
    const button = event.target.closest("[data-copies], [data-copies-from]");
    if (!button) return;
    try {
      await navigator.clipboard.writeText(await wordsFor(page, button));
      say(button.getAttribute("data-copied") ?? "Copied.");
    } catch {
      say("The browser did not allow copying. Select the text and copy it by hand.");
    }
  });
}

/**
 * @param {Document} page
 * @param {Element} button
 */
async function wordsFor(page, button) {
  const address = button.getAttribute("data-copies-from");
  if (address) {
    const answer = await fetch(address, { headers: { Accept: "text/plain" } });
    if (!answer.ok) throw new Error(`${answer.status}`);
    return answer.text();
  }
  return page.getElementById(button.getAttribute("data-copies") ?? "")?.textContent?.trim() ?? "";
}

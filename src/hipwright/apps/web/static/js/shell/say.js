// One line in the corner that screen readers speak; it goes away by itself.

/** @type {number | undefined} */
let timer;

/**
 * Say something briefly.
 * @param {string} words
 */
export function say(words) {
  const place = document.getElementById("said");
  if (!place) return;
  window.clearTimeout(timer);
  place.textContent = words;
  timer = window.setTimeout(() => {
    place.textContent = "";
  }, 6000);
}

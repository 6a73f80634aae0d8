// @ts-check
// How far the film can be trusted: its position against the limits, and how round the heads are.

import { made, part, sideWord } from "./facts.js";

/** @typedef {{ name: string, words: string, limits: string, seen: string, warning: string }} Check */
/** @typedef {{ warning: string, checks: Check[], heads: { side: "left" | "right" | null, words: string }[] }} Trust */

/**
 * @param {Trust} trust
 */
export function paintTrust(trust) {
  const warning = part("[data-position-warning]", HTMLElement);
  warning.hidden = trust.warning === "";
  warning.replaceChildren(made("span", {}, `Position of the film: ${trust.warning}`));
  const checks = trust.checks.map((check) =>
    made("div", {},
      made("dt", {}, check.name),
      made("dd", {}, check.words, made("small", {}, ` within ${check.limits} [${check.seen}]`),
        check.warning ? made("p", { class: "quality" }, check.warning) : null)));
  const heads = trust.heads.map((head) =>
    made("div", {}, made("dt", {}, `Head, ${sideWord(head.side)}`), made("dd", {}, head.words)));
  part("[data-trust]", HTMLElement).replaceChildren(...heads, ...checks);
}

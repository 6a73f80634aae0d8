// Files that are dropped or chosen go to the server one by one; then it looks at them.

import { filesOf } from "./dropped.js";
import { Sending } from "./sending.js";

const dialog = document.querySelector("dialog[data-adding]");
if (dialog instanceof HTMLDialogElement) serve(dialog);

/** @param {HTMLDialogElement} dialog */
function serve(dialog) {
  /** @type {Sending | null} */
  let sending = null;

  /** @param {AsyncIterable<{ file: File, path: string }>} files */
  const take = async (files) => {
    if (sending) return;
    if (!dialog.open) dialog.showModal();
    sending = new Sending(dialog);
    try {
      const next = await sending.send(files, dialog.dataset["into"] ?? "");
      if (next) window.location.assign(next);
      else window.setTimeout(() => sending?.reset(), 0);
    } catch (error) {
      sending.fail(error);
    } finally {
      sending = null;
    }
  };

  for (const [kind, id] of [["folder", "adding-folder"], ["files", "adding-files"]]) {
    const input = document.getElementById(String(id));
    if (!(input instanceof HTMLInputElement)) continue;
    dialog.querySelector(`[data-chooses="${kind}"]`)?.addEventListener("click", () => input.click());
    input.addEventListener("change", () => {
      const chosen = [...(input.files ?? [])];
      input.value = "";
      if (chosen.length) take(listed(chosen));
    });
  }
  dialog.querySelector("[data-stops]")?.addEventListener("click", () => sending?.stop());
  dialog.addEventListener("close", () => sending?.stop());

  let depth = 0;
  const over = (/** @type {boolean} */ is) => {
    document.body.classList.toggle("dropping", is);
    dialog.querySelector(".drop")?.classList.toggle("dropping", is);
  };
  document.addEventListener("dragenter", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    depth += 1;
    over(true);
  });
  document.addEventListener("dragover", (event) => {
    if (carriesFiles(event)) event.preventDefault();
  });
  document.addEventListener("dragleave", (event) => {
    if (!carriesFiles(event)) return;
    depth = Math.max(0, depth - 1);
    if (depth === 0) over(false);
  });
  document.addEventListener("drop", (event) => {
    if (!carriesFiles(event) || !event.dataTransfer) return;
    event.preventDefault();
    depth = 0;
    over(false);
    take(filesOf(event.dataTransfer));
  });
}

/** @param {DragEvent} event */
function carriesFiles(event) {
  return event.dataTransfer?.types.includes("Files") ?? false;
}

/** @param {File[]} files */
async function* listed(files) {
  for (const file of files) yield { file, path: file.webkitRelativePath || file.name };
}

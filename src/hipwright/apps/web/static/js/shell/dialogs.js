// `data-opens="id"` opens the dialog of that id; `data-closes` inside a dialog closes it.

/** @param {Document} page */
export function listenForDialogs(page) {
  page.addEventListener("click", (event) => {
    if (!(event.target instanceof Element)) return;
    const opener = event.target.closest("[data-opens]");
    if (opener) {
      const dialog = page.getElementById(opener.getAttribute("data-opens") ?? "");
      if (dialog instanceof HTMLDialogElement) dialog.showModal();
      return;
    }
    if (event.target.closest("[data-closes]")) {
      event.target.closest("dialog")?.close();
    }
  });
  // A dialog that htmx has put into the page opens itself.
  page.addEventListener("htmx:afterSettle", () => {
    const dialog = page.querySelector("dialog[data-open-now]:not([open])");
    if (dialog instanceof HTMLDialogElement) {
      dialog.addEventListener("close", () => dialog.remove(), { once: true });
      dialog.showModal();
    }
  });
}

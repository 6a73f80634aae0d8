// A page that nobody uses locks itself, so that no patient stays on an empty desk's screen.

const TELL_EVERY_MS = 60_000;
const LONGEST_WAIT_S = 300;

/** @param {Document} page */
export function lockWhenIdle(page) {
  if (!page.body.dataset["signedIn"]) return;
  const token = page.querySelector('meta[name="csrf-token"]')?.getAttribute("content") ?? "";
  let told = Date.now();

  const here = () => {
    if (Date.now() - told < TELL_EVERY_MS) return;
    told = Date.now();
    fetch("/access/here", { method: "POST", headers: { "X-CSRF-Token": token } }).catch(() => {});
  };
  for (const kind of ["pointerdown", "keydown", "wheel"]) {
    page.addEventListener(kind, here, { passive: true });
  }

  const look = async () => {
    let wait = LONGEST_WAIT_S;
    try {
      const answer = await fetch("/access/left", { headers: { Accept: "application/json" } });
      if (answer.status === 401) {
        window.location.replace("/locked");
        return;
      }
      wait = Math.min(wait, (await answer.json()).seconds);
    } catch {
      wait = 10; // hipwright is away: look again soon
    }
    window.setTimeout(look, 1000 * (wait + 1));
  };
  window.setTimeout(look, 1000);
}

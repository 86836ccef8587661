// The copy of the walk that opens without a network: ask the service worker to save every
// section, and say so where the page shown is such a copy.

const STALE_AFTER_MS = 90000;

// Register the service worker and have it save the walk of this building.
export async function saveWalk(form) {
  if (!("serviceWorker" in navigator)) return;
  const status = document.querySelector("[data-at-hand]");
  const sections = [...document.querySelectorAll("[data-walk] a")].map((link) => link.href);
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (!data.total) return;
    const saved = Math.min(data.saved, sections.length);
    status.textContent = data.saved === data.total
      ? "The whole walk is saved on this phone and opens without a network."
      : `${saved} of ${sections.length} sections are saved on this phone.`;
  });
  await navigator.serviceWorker.register(form.dataset.worker);
  const { active } = await navigator.serviceWorker.ready;
  const here = [location.origin + location.pathname, location.href.split("#")[0]];
  active.postMessage({ urls: [...new Set([...here, ...sections])], person: form.dataset.person });
  await navigator.storage?.persist?.();
}

// Warn where the page was made a while ago: nothing recorded since is on it.
export function warnIfStale(form) {
  const madeAt = new Date(form.dataset.made);
  if (Date.now() - madeAt < STALE_AFTER_MS) return;
  const warning = document.querySelector("[data-old]");
  const when = madeAt.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  warning.textContent = `Saved copy of ${when}; newer changes are not shown.`;
  warning.hidden = false;
}

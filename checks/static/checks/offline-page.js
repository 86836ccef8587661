// The page shown without a network: which walks are saved on this phone, and how much waits.

import { describeWaiting } from "./outbox-text.js";
import { listPhotos } from "./photo-outbox.js";
import { listReadings } from "./reading-outbox.js";

const PAGE_CACHE_PREFIX = "walk-"; // as the service worker names its caches

async function showWaiting() {
  const readings = listReadings().filter((item) => item.state === "waiting").length;
  const photos = (await listPhotos()).filter((item) => item.state !== "refused").length;
  const text = describeWaiting(readings, photos) || "0 readings wait";
  document.querySelector("[data-waiting]").textContent = `${text} on this phone.`;
}

// Find the saved walks: { title, href } by path, the walk's first page before its sections.
async function findWalks() {
  const walks = new Map();
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGE_CACHE_PREFIX));
  for (const name of names) {
    const cache = await caches.open(name);
    for (const { url } of await cache.keys()) {
      const { pathname, search } = new URL(url);
      if (search && walks.has(pathname)) continue;
      const html = await (await cache.match(url)).text();
      const page = new DOMParser().parseFromString(html, "text/html");
      const title = page.querySelector("form[data-outbox]")?.dataset.place;
      if (title) walks.set(pathname, { title, href: pathname + search });
    }
  }
  return [...walks.values()];
}

async function showWalks() {
  if (!globalThis.caches) return;
  const lines = (await findWalks()).map(({ title, href }) => {
    const line = document.createElement("li");
    line.append(Object.assign(document.createElement("a"), { href, textContent: title }));
    return line;
  });
  document.querySelector("[data-walks]").replaceChildren(...lines);
  document.querySelector("[data-none]").hidden = lines.length > 0;
}

document.querySelector("[data-again]").addEventListener("click", () => location.reload());
showWaiting();
showWalks();

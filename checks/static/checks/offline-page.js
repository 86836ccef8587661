// Which walks this phone has at hand, and how much waits on it.
"use strict";
(async () => {
  const { kept, snaps } = globalThis.padstone;
  const list = document.querySelector("[data-walks]");
  const waiting = kept.all().filter((item) => item.state === "waiting").length;
  const pictures = (await snaps.all()).filter((item) => item.state !== "refused").length;
  const told = snaps.waits(waiting, pictures) || "0 readings wait";
  document.querySelector("[data-waiting]").textContent = `${told} on this phone.`;
  document.querySelector("[data-again]").addEventListener("click", () => location.reload());
  if (!globalThis.caches) return;
  const titles = new Map();
  for (const name of (await caches.keys()).filter((each) => each.startsWith("walk-"))) {
    const pages = await caches.open(name);
    for (const { url } of await pages.keys()) {
      const { pathname, search } = new URL(url);
      if (search && titles.has(pathname)) continue;
      const text = await (await pages.match(url)).text();
      const page = new DOMParser().parseFromString(text, "text/html");
      const title = page.querySelector("form[data-outbox]")?.dataset.place;
      if (title) titles.set(pathname, { title, address: pathname + search });
    }
  }
  const lines = [...titles.values()].map(({ title, address }) => {
    const line = document.createElement("li");
    line.append(Object.assign(document.createElement("a"), { href: address, textContent: title }));
    return line;
  });
  list.replaceChildren(...lines);
  document.querySelector("[data-none]").hidden = lines.length > 0;
})();

// Keeps the walk at hand without a network. `BOOK` is set by the view that serves this:
// the version and the addresses of the files, and the page to show instead of nothing.
//
// A page of the walk: the network's answer where there is one in time, else the one kept.
// A file: the one kept. Pages belong to the person they were made for, and go with them.
"use strict";

const PAGES = "walk-";
const FILES = "files-";
const PERSON = "X-Padstone-Person";
const WALK = /^\/buildings\/\d+\/measure\/$/;
const PATIENCE_MS = 4000;
const FRESH_MS = 12 * 3600 * 1000;

async function install() {
  const files = await caches.open(FILES + BOOK.version);
  const wanted = [...BOOK.files, BOOK.offline];
  await files.addAll(wanted.map((address) => new Request(address, { cache: "reload" })));
  await self.skipWaiting();
}

// Pages kept before an update name the files of before: those stay one version longer.
async function activate() {
  const versions = (await caches.keys()).filter((name) => name.startsWith(FILES));
  const old = versions.filter((name) => name !== FILES + BOOK.version).slice(0, -1);
  await Promise.all(old.map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function forgetPages(butOf) {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGES));
  await Promise.all(names.filter((name) => name !== PAGES + butOf).map((name) => caches.delete(name)));
}

// However the address was written, a section has one place here.
function placeOf(address) {
  const { origin, pathname, searchParams } = new URL(address);
  const section = searchParams.get("section");
  return origin + pathname + (section === null ? "" : `?section=${encodeURIComponent(section)}`);
}

async function keepPage(address, answer) {
  const person = answer.headers.get(PERSON);
  if (!answer.ok || answer.redirected || !person) return false;
  await forgetPages(person);
  await (await caches.open(PAGES + person)).put(placeOf(address), answer);
  return true;
}

async function keptPage(address) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGES)) continue;
    const found = await (await caches.open(name)).match(placeOf(address));
    if (found) return found;
  }
  return undefined;
}

async function keptFile(request) {
  const found = await (await caches.open(FILES + BOOK.version)).match(request);
  return found || (await caches.match(request)) || fetch(request);
}

function inTime(promise) {
  return new Promise((resolve, reject) => {
    setTimeout(() => resolve(undefined), PATIENCE_MS);
    promise.then(resolve, reject);
  });
}

async function walkPage(event) {
  const { request } = event;
  const asked = fetch(request);
  event.waitUntil(asked.then((answer) => keepPage(request.url, answer.clone()), () => {}));
  const first = await inTime(asked).catch(() => undefined);
  if (first) return first;
  const old = await keptPage(request.url);
  return old || asked.catch(() => caches.match(BOOK.offline));
}

async function otherPage(request) {
  try {
    return await fetch(request);
  } catch {
    return caches.match(BOOK.offline);
  }
}

function isKeptFile({ url }) {
  const { origin, pathname } = new URL(url);
  return origin === self.location.origin && pathname.startsWith("/static/");
}

function answerFetch(event) {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.method === "POST") {
    if (pathname === BOOK.signOut) event.waitUntil(forgetPages());
    return;
  }
  if (request.method !== "GET") return;
  if (WALK.test(pathname)) event.respondWith(walkPage(event));
  else if (request.mode === "navigate") event.respondWith(otherPage(request));
  else if (isKeptFile(request)) event.respondWith(keptFile(request));
}

async function isFresh(address) {
  const old = await keptPage(address);
  return old && Date.now() - Date.parse(old.headers.get("Date")) < FRESH_MS;
}

// Fetches the sections of a walk one after the other, and says how far it is.
async function keepSections({ addresses, person }, source) {
  let kept = 0;
  await forgetPages(person);
  for (const address of addresses) {
    if (!(await isFresh(address))) {
      const request = new Request(address, { credentials: "same-origin", redirect: "manual" });
      const answer = await fetch(request).catch(() => undefined);
      if (!answer || answer.headers.get(PERSON) !== person) break;
      await keepPage(address, answer);
    }
    kept += 1;
    source.postMessage({ kept, of: addresses.length });
  }
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("fetch", answerFetch);
self.addEventListener("message", (event) => {
  if (event.data.addresses) event.waitUntil(keepSections(event.data, event.source));
});

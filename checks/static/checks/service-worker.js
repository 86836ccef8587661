// Keep the walk available without a network. The view that serves this script sets
// `OFFLINE`: the version and the URLs of the files, and the page to show instead of none.
//
// A page of the walk: the network's answer if it comes in time, else the saved copy.
// A file: the saved copy. Pages belong to the person they were made for and are deleted
// when that person signs out. A classic script: not every phone runs module workers.
"use strict";

const PAGE_CACHE_PREFIX = "walk-";
const FILE_CACHE_PREFIX = "files-";
const FILE_CACHE = FILE_CACHE_PREFIX + OFFLINE.version;
const PERSON_HEADER = "X-Padstone-Person";
const WALK_PATH = /^\/buildings\/\d+\/measure\/$/;
const NETWORK_TIMEOUT_MS = 4000;
const MAX_COPY_AGE_MS = 12 * 3600 * 1000;

async function install() {
  const cache = await caches.open(FILE_CACHE);
  const urls = [...OFFLINE.files, OFFLINE.page];
  await cache.addAll(urls.map((url) => new Request(url, { cache: "reload" })));
  await self.skipWaiting();
}

// Pages saved before an update name the previous files: those stay for one more version.
async function activate() {
  const names = (await caches.keys()).filter((name) => name.startsWith(FILE_CACHE_PREFIX));
  const outdated = names.filter((name) => name !== FILE_CACHE).slice(0, -1);
  await Promise.all(outdated.map((name) => caches.delete(name)));
  await self.clients.claim();
}

// Delete the saved pages of everybody, or of everybody but one person.
async function deletePages(exceptPerson) {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGE_CACHE_PREFIX));
  const deleted = names.filter((name) => name !== PAGE_CACHE_PREFIX + exceptPerson);
  await Promise.all(deleted.map((name) => caches.delete(name)));
}

// One key for each section, whatever else the URL says.
function cacheKey(url) {
  const { origin, pathname, searchParams } = new URL(url);
  const section = searchParams.get("section");
  return origin + pathname + (section === null ? "" : `?section=${encodeURIComponent(section)}`);
}

async function savePage(url, response) {
  const person = response.headers.get(PERSON_HEADER);
  if (!response.ok || response.redirected || !person) return false;
  await deletePages(person);
  await (await caches.open(PAGE_CACHE_PREFIX + person)).put(cacheKey(url), response);
  return true;
}

async function findPage(url) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGE_CACHE_PREFIX)) continue;
    const page = await (await caches.open(name)).match(cacheKey(url));
    if (page) return page;
  }
  return undefined;
}

async function answerFile(request) {
  const file = await (await caches.open(FILE_CACHE)).match(request);
  return file || (await caches.match(request)) || fetch(request);
}

// Resolve to undefined where the promise takes too long.
function withTimeout(promise) {
  return new Promise((resolve, reject) => {
    setTimeout(() => resolve(undefined), NETWORK_TIMEOUT_MS);
    promise.then(resolve, reject);
  });
}

async function answerWalkPage(event) {
  const { request } = event;
  const fetched = fetch(request);
  event.waitUntil(fetched.then((response) => savePage(request.url, response.clone()), () => {}));
  const response = await withTimeout(fetched).catch(() => undefined);
  if (response) return response;
  const copy = await findPage(request.url);
  return copy || fetched.catch(() => caches.match(OFFLINE.page));
}

async function answerOtherPage(request) {
  try {
    return await fetch(request);
  } catch {
    return caches.match(OFFLINE.page);
  }
}

function onFetch(event) {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (request.method === "POST") {
    if (pathname === OFFLINE.signOut) event.waitUntil(deletePages());
    return;
  }
  if (request.method !== "GET") return;
  if (WALK_PATH.test(pathname)) event.respondWith(answerWalkPage(event));
  else if (request.mode === "navigate") event.respondWith(answerOtherPage(request));
  else if (pathname.startsWith("/static/")) event.respondWith(answerFile(request));
}

async function isFresh(url) {
  const copy = await findPage(url);
  return copy && Date.now() - Date.parse(copy.headers.get("Date")) < MAX_COPY_AGE_MS;
}

// Save the sections of a walk one after the other and report the progress to the page.
async function saveSections({ urls, person }, client) {
  let saved = 0;
  await deletePages(person);
  for (const url of urls) {
    if (!(await isFresh(url))) {
      const request = new Request(url, { credentials: "same-origin", redirect: "manual" });
      const response = await fetch(request).catch(() => undefined);
      if (!response || response.headers.get(PERSON_HEADER) !== person) break;
      await savePage(url, response);
    }
    saved += 1;
    client.postMessage({ saved, total: urls.length });
  }
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("fetch", onFetch);
self.addEventListener("message", (event) => {
  if (event.data.urls) event.waitUntil(saveSections(event.data, event.source));
});

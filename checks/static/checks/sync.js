// Send the outbox, oldest first, building by building. A reading leaves this browser only
// when the server names its id; an upload that broke off is sent again, and the server
// knows by the id what it has already. Photographs follow the readings, one by one, in the
// same way.

import { linkRecordedReadings, listWaitingPhotos, removePhoto, updatePhoto } from "./photo-outbox.js";
import { listWaitingReadings, removeReading, updateReading } from "./reading-outbox.js";

const BATCH_SIZE = 200; // as the server accepts in one request
const RETRY_INTERVAL_MS = 30000;
const READINGS_TIMEOUT_MS = 60000;
const PHOTO_TIMEOUT_MS = 240000;
const NO_NETWORK = "They are sent when there is a network.";
let isSending = false;

// The server answered and did not take what was sent; its message is for the reader.
class RejectedError extends Error {}

// The cookie is newer than the field where this page was saved before the last sign-in.
function csrfToken() {
  const cookie = /(?:^|; )csrftoken=([^;]*)/.exec(document.cookie);
  const field = document.querySelector("[name=csrfmiddlewaretoken]");
  return cookie ? decodeURIComponent(cookie[1]) : field?.value || "";
}

async function post(url, body, headers, timeoutMs) {
  const response = await fetch(url, {
    method: "POST",
    credentials: "same-origin",
    redirect: "manual",
    signal: AbortSignal.timeout?.(timeoutMs),
    headers: { ...headers, "X-CSRFToken": csrfToken() },
    body,
  });
  const result = await response.json().catch(() => ({}));
  if (response.ok && result.known) return result;
  if (response.type === "opaqueredirect") throw new RejectedError("Sign in again, then send.");
  if (result.error) throw new RejectedError(result.error);
  if (response.status === 403) throw new RejectedError("Reload this page, then send.");
  if (response.status === 404) {
    throw new RejectedError("You are no longer on that job: ask its operations manager.");
  }
  throw new RejectedError("The server did not accept them; they stay here and are sent again.");
}

// Photographs are linked before their reading is removed: they name it when they are sent.
// Items added while the batch was on its way are left as they are.
async function settleBatch(batch, { known, refused }) {
  await linkRecordedReadings(known);
  for (const item of batch) {
    const { id } = item.entry;
    if (known.includes(id)) removeReading(item);
    else if (refused[id]) updateReading(item, { state: "refused", refused: refused[id] });
  }
}

// Send one batch to one building; return whether anything left the outbox. Where the
// verdict follows, note where to ask for it; the last batch of a building covers the others.
async function sendBatch(person, url, followUps) {
  const batch = listWaitingReadings(person).filter((item) => item.to === url).slice(0, BATCH_SIZE);
  const body = JSON.stringify({ person: Number(person), readings: batch.map((item) => item.entry) });
  const result = await post(url, body, { "Content-Type": "application/json" }, READINGS_TIMEOUT_MS);
  await settleBatch(batch, result);
  if (result.follow_up) followUps.set(url, result.follow_up);
  else followUps.delete(url);
  const waiting = new Set(listWaitingReadings(person).map((item) => item.entry.id));
  return batch.some((item) => !waiting.has(item.entry.id));
}

// The link to a reading is settled before the first attempt, so that every attempt sends
// the same content under the same id.
async function sendPhoto(item) {
  await updatePhoto(item, { awaits: "" });
  const body = new FormData();
  for (const [name, value] of Object.entries(item.members)) body.set(name, value);
  body.set("id", item.id);
  body.set("person", item.person);
  body.set("file", item.file, "photograph.jpg");
  const { known, refused } = await post(item.to, body, {}, PHOTO_TIMEOUT_MS);
  if (known.includes(item.id)) await removePhoto(item);
  else if (refused[item.id]) await updatePhoto(item, { state: "refused", refused: refused[item.id] });
}

// Return the first waiting photograph whose reading is not waiting itself.
async function nextPhoto(person, rejections, tried) {
  const waiting = new Set(listWaitingReadings(person).map((item) => item.entry.id));
  return (await listWaitingPhotos(person)).find((item) =>
    !waiting.has(item.awaits) && !rejections.has(item.to) && !tried.has(item.id));
}

// Run one step and note a rejection by its URL; a failed network goes to the caller.
async function attempt(step, url, rejections) {
  try {
    return await step();
  } catch (error) {
    if (!(error instanceof RejectedError)) throw error;
    rejections.set(url, error.message);
    return false;
  }
}

// Send round after round until nothing moves any more.
async function sendReadings(person, rejections, followUps) {
  let hasMoved = false;
  for (let didMove = true; didMove;) {
    didMove = false;
    const urls = new Set(listWaitingReadings(person).map((item) => item.to));
    for (const url of urls) {
      if (rejections.has(url)) continue;
      didMove = (await attempt(() => sendBatch(person, url, followUps), url, rejections)) || didMove;
    }
    hasMoved ||= didMove;
  }
  return hasMoved;
}

// Readings go before every photograph: more may have been taken while one was on its way.
async function sendEverything(person, onProgress) {
  const rejections = new Map(); // URL: the server's message
  const followUps = new Map(); // URL: where to ask for the verdict
  const tried = new Set();
  let hasMoved = false;
  try {
    for (;;) {
      hasMoved = (await sendReadings(person, rejections, followUps)) || hasMoved;
      const item = await nextPhoto(person, rejections, tried);
      if (!item) break;
      tried.add(item.id);
      await attempt(() => sendPhoto(item), item.to, rejections);
      hasMoved = true;
      onProgress("Sending …");
    }
  } catch {
    return { hasMoved, note: NO_NETWORK, followUps };
  }
  return { hasMoved, note: [...rejections.values()][0] || "", followUps };
}

// Send what waits. onProgress(note, hasMoved, followUps) is called at the start with the
// note alone, and at the end; followUps are the addresses of verdicts that follow.
export async function syncOutbox(person, onProgress) {
  if (isSending) return;
  isSending = true;
  let result = { hasMoved: false, note: NO_NETWORK };
  try {
    const isWaiting = listWaitingReadings(person).length || (await listWaitingPhotos(person)).length;
    if (isWaiting) onProgress("Sending …");
    result = isWaiting ? await sendEverything(person, onProgress) : { hasMoved: false, note: "" };
  } finally {
    isSending = false;
    onProgress(result.note, result.hasMoved, [...(result.followUps?.values() || [])]);
  }
}

// Send now, whenever the network or the page comes back, and every half minute: a phone
// says that it is online while the site's network still has no way out.
export function startSync(person, onProgress) {
  const sync = () => syncOutbox(person, onProgress);
  window.addEventListener("online", sync);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) sync(); });
  setInterval(sync, RETRY_INTERVAL_MS);
  sync();
}

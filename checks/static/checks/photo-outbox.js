// The outbox of photographs: each stays in this browser until the server has acknowledged
// it. They are in IndexedDB, being too large for the local storage that holds the readings,
// and belong to the person who took them: no other person's page sends them.
//
// item: { id, person, name, building, place, to, page, section, words, file, awaits,
//         members: { check, reading, caption, taken_at }, state, refused, order }
// state: "new" (its caption may still be typed) | "waiting" | "refused".
// awaits: the reading in this browser that the server must record first.

import { newId } from "./reading-outbox.js";

const DATABASE_NAME = "padstone";
const STORE_NAME = "photographs";
let opening = null;

function openDatabase() {
  opening ||= new Promise((resolve, reject) => {
    const request = indexedDB.open(DATABASE_NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE_NAME, { keyPath: "id" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => { opening = null; reject(request.error); };
  });
  return opening;
}

// Run one request in a transaction of its own. Resolves when the transaction has
// completed: only then is the photograph on the disk.
async function runRequest(mode, makeRequest) {
  const transaction = (await openDatabase()).transaction(STORE_NAME, mode);
  return new Promise((resolve, reject) => {
    const request = makeRequest(transaction.objectStore(STORE_NAME));
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

// A browser that refuses the database has no photographs waiting either.
export async function listPhotos() {
  const items = await runRequest("readonly", (store) => store.getAll()).catch(() => []);
  return items.sort((a, b) => a.order - b.order);
}

export async function listWaitingPhotos(person) {
  return (await listPhotos()).filter((item) => item.person === person && item.state === "waiting");
}

// Rejects where the browser has no room.
export const savePhoto = (item) => runRequest("readwrite", (store) => store.put(item));

export const removePhoto = (item) => runRequest("readwrite", (store) => store.delete(item.id));

// Read and write in one transaction, so that two pages do not undo each other's changes.
function updateEach(changesOf) {
  return runRequest("readwrite", (store) => {
    const request = store.openCursor();
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor) return;
      const changes = changesOf(cursor.value);
      if (changes) cursor.update({ ...cursor.value, ...changes });
      cursor.continue();
    };
  });
}

export const updatePhoto = (item, changes) =>
  updateEach((each) => (each.id === item.id ? changes : null));

// Set the caption while it may still be typed; one that was sent says what it said.
export const setCaption = (item, caption) =>
  updateEach((each) => (each.id === item.id && each.state === "new"
    ? { members: { ...each.members, caption } } : null));

const release = (isReleased) =>
  updateEach((each) => (each.state === "new" && isReleased(each) ? { state: "waiting" } : null))
    .catch(() => {});

// Mark photographs as ready to send: one, or all of a person.
export const releasePhoto = (item) => release((each) => each.id === item.id);

export const releasePhotos = (person) => release((each) => each.person === person);

// Link photographs to the readings that the server has recorded by now.
export const linkRecordedReadings = (ids) =>
  updateEach((each) => (each.awaits && ids.includes(each.awaits)
    ? { awaits: "", members: { ...each.members, reading: each.awaits } } : null)).catch(() => {});

// Send a refused photograph again, of the building alone. It gets a new id: the server
// may have seen the old one.
export async function resendWithoutCheck(item) {
  const members = { ...item.members, check: "", reading: "" };
  await savePhoto({ ...item, id: newId(), members, awaits: "", state: "waiting", refused: [] });
  await removePhoto(item);
}

// The outbox of readings: each stays in this browser until the server has acknowledged it.
// Every reading has an entry of its own in the local storage, so that two open pages
// cannot overwrite each other's, and belongs to the person who took it: no other person's
// page sends it.
//
// item: { entry, person, name, building, place, to, page, section, words, typed, state,
//         refused, judged, order }; state: "waiting" | "refused" | "aside".

const KEY_PREFIX = "padstone.reading.";
const keyOf = (item) => `${KEY_PREFIX}${item.person}.${item.building}.${item.entry.id}`;

// crypto.randomUUID exists only on secure origins; a phone on a site's own network may
// reach the server by plain HTTP.
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

export function listReadings() {
  const keys = Object.keys(localStorage).filter((key) => key.startsWith(KEY_PREFIX));
  const items = keys.map((key) => JSON.parse(localStorage.getItem(key) || "null"));
  return items.filter(Boolean).sort((a, b) => a.order - b.order);
}

export const listReadingsOf = (person) => listReadings().filter((item) => item.person === person);

export const listReadingsOfOthers = (person) => listReadings().filter((item) => item.person !== person);

export const listWaitingReadings = (person) =>
  listReadingsOf(person).filter((item) => item.state === "waiting");

// Throws where the browser has no room; the page then submits the form itself.
export function saveReading(item) {
  localStorage.setItem(keyOf(item), JSON.stringify(item));
}

// An item that another page has removed in the meantime stays removed.
export function updateReading(item, changes) {
  if (localStorage.getItem(keyOf(item)) !== null) saveReading({ ...item, ...changes });
}

export const removeReading = (item) => localStorage.removeItem(keyOf(item));

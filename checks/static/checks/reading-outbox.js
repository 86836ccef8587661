// Readings stay in this browser until the server has acknowledged each one. Every one has
// an entry of its own in the local storage, so that two open pages cannot lose each
// other's, and belongs to the person who took it: nobody else's page sends it.
//
// item: { entry, person, name, building, place, to, page, section, words, typed, state,
//         refused, judged, order }; state: "waiting" | "refused" | "aside".
"use strict";
(() => {
  const PREFIX = "padstone.reading.";
  const keyOf = (item) => `${PREFIX}${item.person}.${item.building}.${item.entry.id}`;

  function newId() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function all() {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
    const items = keys.map((key) => JSON.parse(localStorage.getItem(key) || "null"));
    return items.filter(Boolean).sort((a, b) => a.order - b.order);
  }

  const of = (person) => all().filter((item) => item.person === person);
  const ofOthers = (person) => all().filter((item) => item.person !== person);
  const waiting = (person) => of(person).filter((item) => item.state === "waiting");

  // Throws where there is no room: the form goes the plain way then.
  function put(item) {
    localStorage.setItem(keyOf(item), JSON.stringify(item));
  }

  function change(item, changes) {
    if (localStorage.getItem(keyOf(item)) !== null) put({ ...item, ...changes });
  }

  const remove = (item) => localStorage.removeItem(keyOf(item));

  globalThis.padstone = {
    ...globalThis.padstone,
    kept: { newId, all, of, ofOthers, waiting, put, change, remove },
  };
})();

// Photographs stay in this browser until the server has acknowledged each one. They lie
// in a database of it, for they are too large for where the readings are, and belong to
// the person who took them: nobody else's page sends them.
//
// item: { id, person, name, building, place, to, page, section, words, file, awaits,
//         members: { check, reading, caption, taken_at }, state, refused, order }
// state: "new" (its caption may still be typed) | "waiting" | "refused".
// awaits: the reading on this phone that is to be recorded before it.
"use strict";
(() => {
  const STORE = "photographs";
  const counted = (number, word) => (number ? [`${number} ${word}${number === 1 ? "" : "s"}`] : []);
  let opening = null;

  function open() {
    opening ||= new Promise((resolve, reject) => {
      const asked = indexedDB.open("padstone", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => { opening = null; reject(asked.error); };
    });
    return opening;
  }

  // One question in a transaction of its own; the answer once that is on the disk.
  async function ask(mode, question) {
    const held = (await open()).transaction(STORE, mode);
    return new Promise((resolve, reject) => {
      const asked = question(held.objectStore(STORE));
      held.oncomplete = () => resolve(asked?.result);
      held.onerror = () => reject(held.error);
      held.onabort = () => reject(held.error);
    });
  }

  // A browser that keeps no database has none waiting.
  async function all() {
    const items = await ask("readonly", (store) => store.getAll()).catch(() => []);
    return items.sort((a, b) => a.order - b.order);
  }

  const of = async (person) => (await all()).filter((item) => item.person === person);
  const waiting = async (person) => (await of(person)).filter((item) => item.state === "waiting");

  // Throws where there is no room.
  const put = (item) => ask("readwrite", (store) => store.put(item));
  const remove = (item) => ask("readwrite", (store) => store.delete(item.id));

  // In one transaction, so that two pages do not undo each other's.
  function changeEach(change) {
    return ask("readwrite", (store) => {
      const going = store.openCursor();
      going.onsuccess = () => {
        const cursor = going.result;
        if (!cursor) return;
        const changes = change(cursor.value);
        if (changes) cursor.update({ ...cursor.value, ...changes });
        cursor.continue();
      };
    });
  }

  const change = (item, changes) => changeEach((each) => (each.id === item.id ? changes : null));

  // The caption of one that is still new.
  const caption = (item, text) => changeEach((each) => (each.id === item.id && each.state === "new"
    ? { members: { ...each.members, caption: text } } : null));

  // From now on these are to be sent: one, or all of a person's.
  const release = (person, only) => changeEach((each) => (
    each.person === person && each.state === "new" && (!only || only.id === each.id)
      ? { state: "waiting" } : null)).catch(() => {});

  // Readings the server has now: their photographs name them.
  const recorded = (ids) => changeEach((each) => (each.awaits && ids.includes(each.awaits)
    ? { awaits: "", members: { ...each.members, reading: each.awaits } } : null)).catch(() => {});

  // Refused as of its check: another, of the building alone, takes its place.
  async function ofThePlace(item) {
    const members = { ...item.members, check: "", reading: "" };
    const other = { ...item, id: globalThis.padstone.kept.newId(), members, awaits: "", state: "waiting", refused: [] };
    await put(other);
    await remove(item);
  }

  const both = (readings, photographs) =>
    [...counted(readings, "reading"), ...counted(photographs, "photograph")].join(" and ");

  // "1 reading and 2 photographs wait"; empty where none does.
  function waits(readings, photographs) {
    const number = readings + photographs;
    return number ? `${both(readings, photographs)} ${number === 1 ? "waits" : "wait"}` : "";
  }

  globalThis.padstone = {
    ...globalThis.padstone,
    snaps: {
      all, of, waiting, put, remove, change, caption, release, recorded, ofThePlace, waits, counted: both,
    },
  };
})();

// Sends what is kept, oldest first, building by building. A reading leaves this browser
// only when the server names its id; what breaks off on the way is sent again, and the
// server knows by the id what it has already. Photographs go after the readings, one by
// one, in the same way.
"use strict";
(() => {
  const { kept, snaps } = globalThis.padstone;
  const BATCH = 200;
  const EVERY_MS = 30000;
  const PATIENCE_MS = 60000;
  const PATIENCE_PICTURE_MS = 240000;
  const NO_NETWORK = "They are sent when there is a network.";
  let sending = false;

  class NotTaken extends Error {}

  function token() {
    const found = /(?:^|; )csrftoken=([^;]*)/.exec(document.cookie);
    const field = document.querySelector("[name=csrfmiddlewaretoken]");
    return found ? decodeURIComponent(found[1]) : field?.value || "";
  }

  async function post(address, body, headers, patience) {
    const answer = await fetch(address, {
      method: "POST",
      credentials: "same-origin",
      redirect: "manual",
      signal: AbortSignal.timeout?.(patience),
      headers: { ...headers, "X-CSRFToken": token() },
      body,
    });
    const told = await answer.json().catch(() => ({}));
    if (answer.ok && told.known) return told;
    if (answer.type === "opaqueredirect") throw new NotTaken("Sign in again, then send.");
    if (told.error) throw new NotTaken(told.error);
    if (answer.status === 403) throw new NotTaken("Open this page again, then send.");
    if (answer.status === 404) throw new NotTaken("You are not on that job any more: ask its operations manager.");
    throw new NotTaken("The server did not take them; they are kept and sent again.");
  }

  // Whatever was added while a batch was on its way is left as it is. Photographs of a
  // reading hear of it first, for then they may name it.
  async function settle(batch, { known, refused }) {
    await snaps.recorded(known);
    for (const item of batch) {
      if (known.includes(item.entry.id)) kept.remove(item);
      else if (refused[item.entry.id]) {
        kept.change(item, { state: "refused", refused: refused[item.entry.id] });
      }
    }
  }

  async function sendTo(person, address) {
    const batch = kept.waiting(person).filter((item) => item.to === address).slice(0, BATCH);
    const body = JSON.stringify({ person: Number(person), readings: batch.map((item) => item.entry) });
    await settle(batch, await post(address, body, { "Content-Type": "application/json" }, PATIENCE_MS));
    const left = new Set(kept.waiting(person).map((item) => item.entry.id));
    return batch.some((item) => !left.has(item.entry.id));
  }

  // What it says is settled before it first goes: sent again, it says the same.
  async function sendPicture(item) {
    await snaps.change(item, { awaits: "" });
    const body = new FormData();
    for (const [name, value] of Object.entries(item.members)) body.set(name, value);
    body.set("id", item.id);
    body.set("person", item.person);
    body.set("file", item.file, "photograph.jpg");
    const { known, refused } = await post(item.to, body, {}, PATIENCE_PICTURE_MS);
    if (known.includes(item.id)) await snaps.remove(item);
    else if (refused[item.id]) await snaps.change(item, { state: "refused", refused: refused[item.id] });
  }

  // The first photograph that waits, and whose reading does not wait before it.
  async function nextPicture(person, stuck, tried) {
    const before = new Set(kept.waiting(person).map((item) => item.entry.id));
    return (await snaps.waiting(person)).find((item) =>
      !before.has(item.awaits) && !stuck.has(item.to) && !tried.has(item.id));
  }

  // What a step says of its address; throws where there is no network.
  async function attempt(step, address, stuck) {
    try {
      return await step();
    } catch (error) {
      if (!(error instanceof NotTaken)) throw error;
      stuck.set(address, error.message);
      return false;
    }
  }

  // One round after the other, until nothing moves any more.
  async function sendReadings(person, stuck) {
    let moved = false;
    for (let went = true; went;) {
      went = false;
      const addresses = new Set(kept.waiting(person).map((item) => item.to));
      for (const address of addresses) {
        if (stuck.has(address)) continue;
        went = (await attempt(() => sendTo(person, address), address, stuck)) || went;
      }
      moved ||= went;
    }
    return moved;
  }

  // Readings first, also those taken while a photograph was on its way.
  async function sendAll(person, told) {
    const stuck = new Map(); // address: why
    const tried = new Set();
    let moved = false;
    try {
      for (;;) {
        moved = (await sendReadings(person, stuck)) || moved;
        const item = await nextPicture(person, stuck, tried);
        if (!item) break;
        tried.add(item.id);
        await attempt(() => sendPicture(item), item.to, stuck);
        moved = true;
        told("Sending …");
      }
    } catch {
      return { moved, note: NO_NETWORK };
    }
    return { moved, note: [...stuck.values()][0] || "" };
  }

  // told(note, moved) is called at the start, with no `moved`, and at the end.
  async function send(person, told) {
    if (sending) return;
    sending = true;
    let result = { moved: false, note: NO_NETWORK };
    try {
      const some = kept.waiting(person).length || (await snaps.waiting(person)).length;
      if (some) told("Sending …");
      result = some ? await sendAll(person, told) : { moved: false, note: "" };
    } finally {
      sending = false;
      told(result.note, result.moved);
    }
  }

  function keepSending(person, told) {
    const again = () => send(person, told);
    window.addEventListener("online", again);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) again(); });
    setInterval(again, EVERY_MS);
    again();
  }

  globalThis.padstone = { ...globalThis.padstone, sending: { send, keepSending } };
})();

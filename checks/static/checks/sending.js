// Sends what is kept, oldest first, building by building. A reading leaves this browser
// only when the server names its id; what breaks off on the way is sent again, and the
// server knows by the id what it has already.
"use strict";
(() => {
  const { kept } = globalThis.padstone;
  const BATCH = 200;
  const EVERY_MS = 30000;
  const PATIENCE_MS = 60000;
  const NO_NETWORK = "They are sent when there is a network.";
  let sending = false;

  class NotTaken extends Error {}

  function token() {
    const found = /(?:^|; )csrftoken=([^;]*)/.exec(document.cookie);
    const field = document.querySelector("[name=csrfmiddlewaretoken]");
    return found ? decodeURIComponent(found[1]) : field?.value || "";
  }

  async function post(person, address, batch) {
    const answer = await fetch(address, {
      method: "POST",
      credentials: "same-origin",
      redirect: "manual",
      signal: AbortSignal.timeout?.(PATIENCE_MS),
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ person: Number(person), readings: batch.map((item) => item.entry) }),
    });
    const told = await answer.json().catch(() => ({}));
    if (answer.ok && told.known) return told;
    if (answer.type === "opaqueredirect") throw new NotTaken("Sign in again, then send.");
    if (told.error) throw new NotTaken(told.error);
    if (answer.status === 403) throw new NotTaken("Open this page again, then send.");
    if (answer.status === 404) throw new NotTaken("You are not on that job any more: ask its operations manager.");
    throw new NotTaken("The server did not take them; they are kept and sent again.");
  }

  // Whatever was added while a batch was on its way is left as it is.
  function settle(batch, { known, refused }) {
    for (const item of batch) {
      if (known.includes(item.entry.id)) kept.remove(item);
      else if (refused[item.entry.id]) {
        kept.change(item, { state: "refused", refused: refused[item.entry.id] });
      }
    }
  }

  async function sendTo(person, address) {
    const batch = kept.waiting(person).filter((item) => item.to === address).slice(0, BATCH);
    settle(batch, await post(person, address, batch));
    const left = new Set(kept.waiting(person).map((item) => item.entry.id));
    return batch.some((item) => !left.has(item.entry.id));
  }

  // One round after the other, until nothing moves any more.
  async function sendAll(person) {
    const stuck = new Map(); // address: why
    let moved = false;
    for (let went = true; went;) {
      went = false;
      const addresses = new Set(kept.waiting(person).map((item) => item.to));
      for (const address of addresses) {
        if (stuck.has(address)) continue;
        try {
          went = (await sendTo(person, address)) || went;
        } catch (error) {
          if (!(error instanceof NotTaken)) return { moved: moved || went, note: NO_NETWORK };
          stuck.set(address, error.message);
        }
      }
      moved ||= went;
    }
    return { moved, note: [...stuck.values()][0] || "" };
  }

  // told(note, moved) is called at the start, with no `moved`, and at the end.
  async function send(person, told) {
    if (sending) return;
    if (!kept.waiting(person).length) return void told("", false);
    sending = true;
    told("Sending …");
    let result = { moved: false, note: NO_NETWORK };
    try {
      result = await sendAll(person);
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

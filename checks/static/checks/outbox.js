// Readings stay in this browser until the server has acknowledged each one. Without
// this script the form works as it is; with it, nothing is lost where there is no net.
"use strict";
(() => {
  const form = document.querySelector("form[data-outbox]");
  const banner = document.getElementById("outbox");
  const walk = document.querySelector("details[data-walk]");
  if (walk && matchMedia("(max-width: 60rem)").matches) walk.open = false;
  if (!form || !banner || !form.querySelector("[type=submit]")) return;
  const key = `padstone.outbox.${form.dataset.person}.${form.dataset.building}`;
  const BATCH = 200;
  const EVERY_MS = 30000;
  const BARE = /^[-+]?[\d ./]*\d$/;
  let sending = false;

  const load = () => JSON.parse(localStorage.getItem(key) || "[]");
  const save = (kept) => localStorage.setItem(key, JSON.stringify(kept));

  function newId() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  function valueOf(name) {
    const field = form.elements[name];
    return field ? field.value.trim() : "";
  }

  // The same entry the server writes from the form; see checks/entering.py.
  function withUnit(text, unit) {
    return unit && BARE.test(text) ? `${text} ${unit}` : text;
  }

  function shared(kind) {
    const entry = { at: new Date().toISOString() };
    if (valueOf("crew")) entry.by = valueOf("crew");
    if (valueOf("at")) entry.at = `${valueOf("at")}:00Z`;
    if (kind === "strength") return entry;
    if (valueOf("instrument")) entry.instrument = valueOf("instrument");
    const levelled = kind === "level" || kind === "benchmark";
    if (levelled) entry.setup = valueOf("setup") || "1";
    else if (valueOf("temperature")) {
      entry.temperature = `${valueOf("temperature")} ${valueOf("degree") || "degF"}`;
    }
    return entry;
  }

  function entryOf(line) {
    const typed = line.querySelector("[name^=typed-]");
    if (!typed.value.trim()) return null;
    const number = typed.name.slice("typed-".length);
    const kind = line.dataset.kind;
    const name = valueOf(`name-${number}`);
    const unit = valueOf(kind === "strength" ? "strength_unit" : "unit");
    const entry = {
      id: valueOf(`client_id-${number}`),
      check: line.dataset.check || `${kind}:${name}`,
      value: withUnit(typed.value.trim(), unit),
      ...shared(kind),
    };
    if (valueOf(`replaces-${number}`)) entry.supersedes = valueOf(`replaces-${number}`);
    if (kind === "line" && valueOf(`corner-${number}`)) entry.from = valueOf(`corner-${number}`);
    if (kind === "plumb" && valueOf("height")) entry.height = withUnit(valueOf("height"), unit);
    return entry;
  }

  function keep() {
    const lines = [...form.querySelectorAll(".entry")];
    const entries = lines.map(entryOf);
    const written = entries.filter(Boolean).map((entry) => ({ entry, refused: [] }));
    if (!written.length) return 0;
    save([...load(), ...written]);
    lines.forEach((line, place) => {
      if (!entries[place]) return;
      line.querySelector("[name^=typed-]").value = "";
      line.querySelector("[name^=client_id-]").value = newId();
      line.classList.remove("refused");
      line.querySelector(".errors")?.remove();
    });
    return written.length;
  }

  function show(note) {
    const kept = load();
    const waiting = kept.filter((item) => !item.refused.length).length;
    const words = [];
    if (waiting) {
      const readings = waiting === 1 ? "1 reading waits" : `${waiting} readings wait`;
      words.push(`${readings} in this browser.`);
    }
    if (note && kept.length) words.push(note);
    banner.querySelector("[data-waiting]").textContent = words.join(" ");
    banner.querySelector("[data-send]").hidden = !waiting;
    const list = banner.querySelector("[data-refused]");
    list.replaceChildren(...kept.filter((item) => item.refused.length).map(refusedLine));
    banner.hidden = !kept.length;
  }

  function refusedLine(item) {
    const line = document.createElement("li");
    const words = document.createElement("span");
    const drop = document.createElement("button");
    words.textContent = `${item.entry.check} “${item.entry.value}” was refused: ${item.refused.join(" ")} `;
    drop.type = "button";
    drop.className = "button";
    drop.textContent = "Put it away";
    drop.addEventListener("click", () => {
      save(load().filter((other) => other.entry.id !== item.entry.id));
      show("");
    });
    line.append(words, drop);
    return line;
  }

  function refusals(errors) {
    const found = new Map();
    for (const { pointer, message } of errors) {
      const place = Number(pointer.split("/")[2]);
      found.set(place, [...(found.get(place) || []), message]);
    }
    return found;
  }

  async function post(batch) {
    const answer = await fetch(form.dataset.api, {
      method: "POST",
      credentials: "same-origin",
      headers: {
        "Content-Type": "application/json",
        Accept: "application/json",
        "X-CSRFToken": form.elements.csrfmiddlewaretoken.value,
      },
      body: JSON.stringify({ readings: batch.map((item) => item.entry), keep_good: true }),
    });
    const told = await answer.json().catch(() => ({}));
    if (answer.ok) {
      const known = new Set([...told.stored.map((row) => row.id), ...told.repeated]);
      return { known, refused: refusals(told.refused) };
    }
    if (answer.status === 422 && told.errors) {
      return { known: new Set(), refused: refusals(told.errors) };
    }
    if (answer.status === 401 || answer.status === 403) {
      throw new Error("Sign in again, then send.");
    }
    throw new Error("The server did not take them; they are kept and sent again.");
  }

  // Whatever was added while a batch was on its way is left as it is.
  function settle(batch, { known, refused }) {
    const places = new Map(batch.map((item, place) => [item.entry.id, place]));
    save(load().flatMap((item) => {
      if (known.has(item.entry.id)) return [];
      const messages = refused.get(places.get(item.entry.id));
      return [messages ? { ...item, refused: messages } : item];
    }));
  }

  async function send() {
    const batch = load().filter((item) => !item.refused.length).slice(0, BATCH);
    if (sending || !batch.length) return show("");
    if (navigator.onLine === false) return show("They are sent when there is a network.");
    sending = true;
    show("Sending …");
    let note = "";
    try {
      settle(batch, await post(batch));
    } catch (error) {
      note = error instanceof TypeError ? "They are sent when there is a network." : error.message;
    }
    sending = false;
    show(note);
    if (note) return undefined;
    if (load().some((item) => !item.refused.length)) return send();
    // The verdicts are on the page as the server sets it; nothing typed is lost.
    const typing = [...form.querySelectorAll("[name^=typed-]")].some((field) => field.value);
    if (!typing) location.reload();
    return undefined;
  }

  form.addEventListener("submit", (event) => {
    try {
      if (!keep()) return;
    } catch {
      return; // no room in this browser: the form goes the plain way
    }
    event.preventDefault();
    send();
  });
  banner.querySelector("[data-send]").addEventListener("click", send);
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(send, EVERY_MS);
  show("");
  if (load().some((item) => !item.refused.length)) send();
})();

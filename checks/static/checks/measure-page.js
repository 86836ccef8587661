// The walk on a phone: each reading is kept the moment it is recorded, judged at once as
// far as a phone can, sent when there is a network, and then shown as the server judged.
// Without this script the form works as it is.
"use strict";
(() => {
  const { Camera, Entries, kept, keypad, provisional, sending, snaps, waiting } = globalThis.padstone;
  const form = document.querySelector("form[data-outbox]");
  const banner = document.getElementById("outbox");
  const walk = document.querySelector("details[data-walk]");
  const STALE_MS = 90000;
  const CORRECTING = "padstone.correcting";
  if (walk && matchMedia("(max-width: 60rem)").matches) walk.open = false;
  if (!form || !banner) return;

  const { person, name, building, place, section, title } = form.dataset;
  const mayRecord = Boolean(form.querySelector("[type=submit]"));
  const entries = new Entries(form);
  const lines = () => [...form.querySelectorAll(".entry")];
  const typedOf = (line) => line.querySelector("[name^=typed-]");
  const wordsOf = (line) => line.querySelector("label")?.firstChild.textContent.trim() || "";

  // ---- what waits, under its check -------------------------------------------

  function showPending() {
    const mine = kept.waiting(person).filter((item) => item.building === building);
    for (const line of lines()) {
      const box = line.querySelector("[data-pending]");
      const items = mine.filter((item) => item.entry.check === line.dataset.check);
      box.replaceChildren(...items.map((item) =>
        provisional.waitingLine(item, () => measureAgain(line, item))));
      box.hidden = !items.length;
      offerReplacing(line, items);
    }
  }

  function offerReplacing(line, items) {
    const select = line.querySelector("[name^=replaces-]");
    if (!select) return;
    // What was chosen stays, even where the server has that reading by now.
    for (const option of select.querySelectorAll("[data-waits]")) {
      if (!option.selected) option.remove();
    }
    for (const item of items) {
      if ([...select.options].some((option) => option.value === item.entry.id)) continue;
      const option = new Option(`replaces ${item.entry.value}`, item.entry.id);
      option.dataset.waits = "";
      select.append(option);
    }
    const standing = [...select.options].some((option) => option.value && !("waits" in option.dataset));
    line.querySelector("[data-again]").hidden = !standing && !select.value;
  }

  function measureAgain(line, item) {
    line.querySelector("[name^=replaces-]").value = item.entry.id;
    line.querySelector("[data-again]").hidden = false;
    typedOf(line).focus();
  }

  async function show(note = "") {
    showPending();
    camera.show(await waiting.show(banner, person, note, { correct, send }));
  }

  // ---- recording -------------------------------------------------------------

  function itemOf(line, entry) {
    return {
      entry, person, name, building, place,
      to: form.dataset.receive,
      page: location.pathname,
      section: { key: section, title },
      words: line.dataset.check ? wordsOf(line) : entry.check.split(":")[1],
      typed: typedOf(line).value.trim(),
      state: "waiting",
      refused: [],
      judged: provisional.judge(line, entry),
      order: Date.now() + Number(entries.number(line)) / 1000,
    };
  }

  // Keeps what these lines say; throws where the browser has no room.
  function keep(wanted) {
    const items = [];
    for (const line of wanted) {
      const entry = entries.of(line);
      if (!entry) continue;
      const item = itemOf(line, entry);
      kept.put(item);
      items.push(item);
      clear(line);
    }
    if (items.length) entries.remember();
    return items;
  }

  function clear(line) {
    const corrected = line.dataset.corrects;
    const old = kept.of(person).find((item) => item.entry.id === corrected);
    if (old) kept.remove(old);
    delete line.dataset.corrects;
    typedOf(line).value = "";
    typedOf(line).removeAttribute("aria-invalid");
    line.querySelector("[name^=client_id-]").value = kept.newId();
    const select = line.querySelector("[name^=replaces-]");
    if (select) select.value = "";
    const why = line.querySelector("[name^=note-]");
    if (why) why.value = "";
    line.classList.remove("refused");
    line.querySelector(".errors")?.remove();
  }

  function told(note, moved) {
    show(note);
    if (moved) refresh();
  }

  const send = () => sending.send(person, told);

  // Captions still being typed are done with: everything goes that is here.
  const sendEverything = () => snaps.release(person).then(send);

  const about = {
    person, name, building, place, page: location.pathname, section: { key: section, title }, to: form.dataset.receivePhotograph,
  };
  const camera = new Camera(form, about, {
    wordsOf, told: show, send, currentId: (line) => line.querySelector("[name^=client_id-]").value,
  });

  // Shows what the server says now, without touching what is being typed.
  async function refresh() {
    const answer = await fetch(location.href, { credentials: "same-origin" }).catch(() => null);
    if (!answer || !answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("form[data-outbox]");
    if (!fresh || fresh.dataset.person !== person) return;
    const keys = (root) => [...root.querySelectorAll(".entry")].map((line) => line.dataset.check).join();
    if (keys(fresh) !== keys(form)) {
      if (!lines().some((line) => typedOf(line).value)) location.reload();
      return;
    }
    swapLines(fresh);
    for (const part of ["walk", "left"]) {
      const old = document.querySelector(`[data-swap=${part}]`);
      const made = page.querySelector(`[data-swap=${part}]`);
      if (old && made) old.replaceWith(made);
    }
    showPending();
  }

  // What was chosen in the old part is chosen in the new one, where it can be.
  function swap(old, made) {
    for (const { name: named, value } of old.querySelectorAll("select")) {
      const select = made.querySelector(`[name="${named}"]`);
      if ([...(select?.options || [])].some((option) => option.value === value)) select.value = value;
    }
    old.replaceWith(made);
  }

  function swapLines(fresh) {
    const made = [...fresh.querySelectorAll(".entry")];
    lines().forEach((line, place_) => {
      if (typedOf(line).value || line.contains(document.activeElement?.closest("select"))) return;
      for (const part of ["verdict", "known"]) {
        const find = (root) => root.querySelector(`[data-swap=${part}]`);
        if (find(line) && find(made[place_])) swap(find(line), find(made[place_]));
      }
    });
  }

  // ---- corrections -----------------------------------------------------------

  function correct(item) {
    const here = item.building === building
      && lines().find((line) => line.dataset.check === item.entry.check);
    if (here) return takeUp(here, item);
    sessionStorage.setItem(CORRECTING, item.entry.id);
    location.assign(`${item.page}?section=${encodeURIComponent(item.section.key)}`);
    return undefined;
  }

  function takeUp(line, item) {
    line.dataset.corrects = item.entry.id;
    typedOf(line).value = item.typed;
    typedOf(line).focus();
    if (!pad.wanted) line.scrollIntoView({ block: "center" });
  }

  function takeUpAsked() {
    const id = sessionStorage.getItem(CORRECTING);
    sessionStorage.removeItem(CORRECTING);
    const item = kept.of(person).find((each) => each.entry.id === id);
    if (!item || item.building !== building) return;
    const named = item.entry.check.split(":");
    const line = lines().find((each) => each.dataset.check === item.entry.check)
      || lines().find((each) => !each.dataset.check && each.dataset.kind === named[0]);
    if (!line) return;
    const free = line.querySelector("[name^=name-]");
    if (free) free.value = named[1];
    takeUp(line, item);
  }

  // ---- the keypad ------------------------------------------------------------

  function recordLine(field) {
    const line = field.closest(".entry");
    if (form.dataset.plain) return void form.submit();
    try {
      const [item] = keep([line]);
      if (!item) return void goOn(line);
      pad.say(provisional.atOnce(item));
    } catch {
      return void form.submit();
    }
    sendEverything();
    return void goOn(line);
  }

  // To the next line nobody has read; the verdict of this one stays in sight above it.
  function goOn(line) {
    const all = lines();
    const next = all[all.indexOf(line) + 1];
    if (!next) return pad.close();
    (next.querySelector("[name^=name-]") || typedOf(next)).focus({ preventScroll: true });
    pad.makeRoomFor(next.querySelector(".entry-body"));
    return undefined;
  }

  const pad = new keypad.Keypad(document.getElementById("keypad"), {
    onRecord: recordLine,
    onChange: () => {},
  });

  function serve(field) {
    const line = field.closest(".entry");
    pad.serve(field, wordsOf(line), line.dataset.kind === "strength" ? "strength" : form.dataset.pad);
    pad.makeRoomFor(line.querySelector(".entry-body"));
  }

  function attachKeypad() {
    const back = document.querySelector("[data-keypad-back]");
    const choose = () => { back.hidden = pad.wanted || !mayRecord; };
    for (const line of lines()) {
      const field = typedOf(line);
      if (pad.wanted) field.inputMode = "none";
      field.addEventListener("focus", () => { serve(field); choose(); });
      field.addEventListener("input", () => pad.tell());
      field.addEventListener("keydown", (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        recordLine(field);
      });
    }
    back.addEventListener("click", () => {
      localStorage.setItem("padstone.keyboard", "own");
      typedOf(lines()[0]).focus();
      choose();
    });
    choose();
  }

  // ---- the walk at hand without a network --------------------------------------

  async function keepWalk() {
    if (!("serviceWorker" in navigator)) return;
    const atHand = document.querySelector("[data-at-hand]");
    const sections = [...document.querySelectorAll("[data-walk] a")].map((link) => link.href);
    navigator.serviceWorker.addEventListener("message", ({ data }) => {
      if (!data.of) return;
      const kept_ = Math.min(data.kept, sections.length);
      atHand.textContent = data.kept === data.of
        ? "The whole walk is on this phone: it opens without a network."
        : `${kept_} of ${sections.length} sections are on this phone.`;
    });
    await navigator.serviceWorker.register(form.dataset.worker);
    const { active } = await navigator.serviceWorker.ready;
    const addresses = [...new Set([location.origin + location.pathname, location.href.split("#")[0], ...sections])];
    active.postMessage({ addresses, person });
    await navigator.storage?.persist?.();
  }

  function sayIfOld() {
    const made = new Date(form.dataset.made);
    if (Date.now() - made < STALE_MS) return;
    const old = document.querySelector("[data-old]");
    old.textContent = `As it was ${made.toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}: `
      + "there was no network to ask for what came since.";
    old.hidden = false;
  }

  // ---- begin -------------------------------------------------------------------

  function sayWhoAndWith() {
    document.querySelector("[data-shared]").textContent = entries.words();
  }

  form.addEventListener("submit", (event) => {
    if (form.dataset.plain) return;
    try {
      if (!keep(lines()).length && !camera.holds) return;
    } catch {
      return; // no room in this browser: the form goes the plain way
    }
    event.preventDefault();
    sendEverything();
  });
  form.addEventListener("change", sayWhoAndWith);
  document.addEventListener("units-changed", () => showPending());
  banner.querySelector("[data-send]").addEventListener("click", sendEverything);
  // A page kept for lack of a network opens many times: its lines' ids only count once.
  for (const line of lines()) line.querySelector("[name^=client_id-]").value = kept.newId();
  entries.recall();
  sayWhoAndWith();
  sayIfOld();
  show();
  if (mayRecord) {
    attachKeypad();
    takeUpAsked();
    snaps.release(person).then(() => sending.keepSending(person, told));
  }
  keepWalk().catch(() => {});
})();

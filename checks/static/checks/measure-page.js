// The walk on a phone: save each reading the moment it is recorded, judge it at once as far
// as a phone can, send it when there is a network, and then show the server's verdict.
// Without this script the form works by itself.

import { judgeReading } from "./local-verdict.js";
import { Keypad } from "./keypad.js";
import { saveWalk, warnIfStale } from "./offline-copy.js";
import { updateBanner } from "./outbox-banner.js";
import { refreshPage } from "./page-refresh.js";
import { PhotoCapture } from "./photo-capture.js";
import { releasePhotos } from "./photo-outbox.js";
import { ReadingForm } from "./reading-form.js";
import { listReadingsOf, listWaitingReadings, newId, removeReading, saveReading } from "./reading-outbox.js";
import { startSync, syncOutbox } from "./sync.js";
import { awaitVerdict } from "./verdict-follow-up.js";
import { createOutcome, createWaitingLine } from "./waiting-reading.js";

const CORRECTION_KEY = "padstone.correcting";

const fieldOf = (row) => row.querySelector("[name^=typed-]");
const idFieldOf = (row) => row.querySelector("[name^=client_id-]");
const replacesFieldOf = (row) => row.querySelector("[name^=replaces-]");
const labelOf = (row) => row.querySelector("label")?.firstChild.textContent.trim() || "";

class MeasurePage {
  constructor(form, banner) {
    const { person, name, building, place, section, title } = form.dataset;
    this.form = form;
    this.banner = banner;
    this.person = person;
    this.readings = new ReadingForm(form);
    this.mayRecord = Boolean(form.querySelector("[type=submit]"));
    // What every item of the outbox says of the page it was made on.
    this.page = { person, name, building, place, page: location.pathname, section: { key: section, title } };
    this.keypad = new Keypad(document.getElementById("keypad"), { onRecord: (field) => this.recordRow(field) });
    this.photos = new PhotoCapture(form, { ...this.page, to: form.dataset.receivePhotograph }, {
      labelOf,
      readingIdOf: (row) => idFieldOf(row).value,
      onChange: () => this.update(),
      send: () => this.send(),
    });
  }

  start() {
    const { form } = this;
    form.addEventListener("submit", (event) => this.onSubmit(event));
    form.addEventListener("change", () => this.showDetails());
    document.addEventListener("units-changed", () => this.showWaiting());
    this.banner.querySelector("[data-send]").addEventListener("click", () => this.sendEverything());
    // A saved copy opens many times: the ids that came with it would count only once.
    for (const row of this.rows) idFieldOf(row).value = newId();
    this.readings.recall();
    this.showDetails();
    warnIfStale(form);
    this.update();
    if (this.mayRecord) {
      this.attachKeypad();
      this.resumeCorrection();
      releasePhotos(this.person).then(() => startSync(this.person, (...progress) => this.onSync(...progress)));
    }
    saveWalk(form).catch(() => {});
  }

  get rows() {
    return this.readings.rows;
  }

  showDetails() {
    document.querySelector("[data-shared]").textContent = this.readings.describeDetails();
  }

  // ---- readings that wait, under their checks ------------------------------------

  showWaiting() {
    const waiting = listWaitingReadings(this.person).filter((item) => item.building === this.page.building);
    for (const row of this.rows) {
      const box = row.querySelector("[data-pending]");
      const items = waiting.filter((item) => item.entry.check === row.dataset.check);
      box.replaceChildren(...items.map((item) => createWaitingLine(item, () => this.measureAgain(row, item))));
      box.hidden = !items.length;
      this.offerReplacing(row, items);
    }
  }

  // A choice stays selected although the server has that reading by now.
  offerReplacing(row, items) {
    const select = replacesFieldOf(row);
    if (!select) return;
    for (const option of select.querySelectorAll("[data-waits]")) {
      if (!option.selected) option.remove();
    }
    const offered = new Set([...select.options].map((option) => option.value));
    for (const item of items.filter(({ entry }) => !offered.has(entry.id))) {
      const option = new Option(`replaces ${item.entry.value}`, item.entry.id);
      option.dataset.waits = "";
      select.append(option);
    }
    const hasRecorded = [...select.options].some((option) => option.value && !("waits" in option.dataset));
    row.querySelector("[data-again]").hidden = !hasRecorded && !select.value;
  }

  measureAgain(row, item) {
    replacesFieldOf(row).value = item.entry.id;
    row.querySelector("[data-again]").hidden = false;
    fieldOf(row).focus();
  }

  async update(note = "") {
    this.showWaiting();
    const actions = { correct: (item) => this.correct(item), send: () => this.send() };
    this.photos.show(await updateBanner(this.banner, this.person, note, actions));
  }

  // ---- recording -----------------------------------------------------------------

  createItem(row, entry) {
    return {
      ...this.page,
      entry,
      to: this.form.dataset.receive,
      words: row.dataset.check ? labelOf(row) : entry.check.split(":")[1],
      typed: fieldOf(row).value.trim(),
      state: "waiting",
      refused: [],
      judged: judgeReading(row.dataset, entry),
      order: Date.now() + Number(this.readings.numberOf(row)) / 1000,
    };
  }

  // Save the readings of these rows in the outbox; throws where the browser has no room.
  record(rows) {
    const items = [];
    for (const row of rows) {
      const entry = this.readings.buildEntry(row);
      if (!entry) continue;
      const item = this.createItem(row, entry);
      saveReading(item);
      items.push(item);
      this.clear(row);
    }
    if (items.length) this.readings.remember();
    return items;
  }

  clear(row) {
    const corrected = listReadingsOf(this.person).find((item) => item.entry.id === row.dataset.corrects);
    if (corrected) removeReading(corrected);
    delete row.dataset.corrects;
    fieldOf(row).value = "";
    fieldOf(row).removeAttribute("aria-invalid");
    idFieldOf(row).value = newId();
    for (const select of row.querySelectorAll("[name^=replaces-], [name^=note-]")) select.value = "";
    row.classList.remove("refused");
    row.querySelector(".errors")?.remove();
  }

  onSubmit(event) {
    if (this.form.dataset.plain) return;
    try {
      if (!this.record(this.rows).length && !this.photos.hasUnsent) return;
    } catch {
      return; // no room in this browser: the form is submitted instead
    }
    event.preventDefault();
    this.sendEverything();
  }

  recordRow(field) {
    const row = field.closest(".entry");
    if (this.form.dataset.plain) return void this.form.submit();
    let item;
    try {
      [item] = this.record([row]);
    } catch {
      return void this.form.submit();
    }
    if (item) {
      this.keypad.showOutcome(createOutcome(item));
      this.sendEverything();
    }
    return void this.focusNext(row);
  }

  // The verdict of the row that was left stays in sight above the next one.
  focusNext(row) {
    const next = this.rows[this.rows.indexOf(row) + 1];
    if (!next) return void this.keypad.close();
    (next.querySelector("[name^=name-]") || fieldOf(next)).focus({ preventScroll: true });
    return void this.keypad.scrollIntoView(next.querySelector(".entry-body"));
  }

  // ---- sending -------------------------------------------------------------------

  send() {
    return syncOutbox(this.person, (...progress) => this.onSync(...progress));
  }

  // Captions that are still being typed are taken as they stand.
  sendEverything() {
    return releasePhotos(this.person).then(() => this.send());
  }

  onSync(note, hasMoved, followUps = []) {
    this.update(note);
    if (hasMoved) this.refresh();
    for (const url of followUps) awaitVerdict(url).then((isThere) => { if (isThere) this.refresh(); });
  }

  refresh() {
    refreshPage(this.form).then((isUpdated) => { if (isUpdated) this.showWaiting(); });
  }

  // ---- corrections ---------------------------------------------------------------

  correct(item) {
    const row = item.building === this.page.building
      && this.rows.find((each) => each.dataset.check === item.entry.check);
    if (row) return void this.startCorrection(row, item);
    sessionStorage.setItem(CORRECTION_KEY, item.entry.id);
    return void location.assign(`${item.page}?section=${encodeURIComponent(item.section.key)}`);
  }

  startCorrection(row, item) {
    row.dataset.corrects = item.entry.id;
    fieldOf(row).value = item.typed;
    fieldOf(row).focus();
    if (!this.keypad.isPreferred) row.scrollIntoView({ block: "center" });
  }

  // A correction that was begun on the page of another section.
  resumeCorrection() {
    const id = sessionStorage.getItem(CORRECTION_KEY);
    sessionStorage.removeItem(CORRECTION_KEY);
    const item = listReadingsOf(this.person).find((each) => each.entry.id === id);
    if (!item || item.building !== this.page.building) return;
    const [kind, name] = item.entry.check.split(":");
    const row = this.rows.find((each) => each.dataset.check === item.entry.check)
      || this.rows.find((each) => !each.dataset.check && each.dataset.kind === kind);
    if (!row) return;
    const nameField = row.querySelector("[name^=name-]");
    if (nameField) nameField.value = name;
    this.startCorrection(row, item);
  }

  // ---- the keypad ----------------------------------------------------------------

  attachKeypad() {
    const { keypad } = this;
    const showKeypadButton = document.querySelector("[data-keypad-back]");
    const updateButton = () => { showKeypadButton.hidden = keypad.isPreferred; };
    for (const row of this.rows) {
      const field = fieldOf(row);
      if (keypad.isPreferred) field.inputMode = "none";
      field.addEventListener("focus", () => { this.openKeypad(row); updateButton(); });
      field.addEventListener("input", () => keypad.updateReadout());
      field.addEventListener("keydown", (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        this.recordRow(field);
      });
    }
    showKeypadButton.addEventListener("click", () => {
      keypad.prefer();
      fieldOf(this.rows[0]).focus();
      updateButton();
    });
    updateButton();
  }

  openKeypad(row) {
    const layout = row.dataset.kind === "strength" ? "strength" : this.form.dataset.pad;
    this.keypad.attachTo(fieldOf(row), labelOf(row), layout);
    this.keypad.scrollIntoView(row.querySelector(".entry-body"));
  }
}

const walk = document.querySelector("details[data-walk]");
if (walk && matchMedia("(max-width: 60rem)").matches) walk.open = false;
const form = document.querySelector("form[data-outbox]");
const banner = document.getElementById("outbox");
if (form && banner) new MeasurePage(form, banner).start();

// Build the entries of readings from the form, with the same members that
// checks/forms/reading_rows.py writes where the browser submits the form itself; and
// remember who measures, with what and how warm it is, from one section to the next.

import { appendUnit } from "./lengths.js";

const REMEMBERED_FIELDS = ["crew", "instrument", "degree", "unit", "setup", "height"];
const TEMPERATURE_LIFETIME_MS = 4 * 3600 * 1000; // the air warms up during the day

export class ReadingForm {
  constructor(form) {
    this.form = form;
    this.storageKey = `padstone.shared.${form.dataset.person}.${form.dataset.building}`;
  }

  get rows() {
    return [...this.form.querySelectorAll(".entry")];
  }

  value(name) {
    return this.form.elements[name]?.value.trim() ?? "";
  }

  numberOf(row) {
    return row.querySelector("[name^=typed-]").name.slice("typed-".length);
  }

  sharedMembers(kind) {
    const members = { at: new Date().toISOString() };
    if (this.value("crew")) members.by = this.value("crew");
    if (this.value("at")) members.at = new Date(this.value("at")).toISOString();
    if (kind === "strength") return members;
    if (this.value("instrument")) members.instrument = this.value("instrument");
    if (kind === "level" || kind === "benchmark") members.setup = this.value("setup") || "1";
    else if (this.value("temperature")) {
      members.temperature = `${this.value("temperature")} ${this.value("degree") || "degF"}`;
    }
    return members;
  }

  // Return the entry of a row, or null where nothing is typed in it.
  buildEntry(row) {
    const number = this.numberOf(row);
    const typed = this.value(`typed-${number}`);
    const { kind, check } = row.dataset;
    if (!typed) return null;
    const unit = this.value(kind === "strength" ? "strength_unit" : "unit");
    const entry = {
      id: this.value(`client_id-${number}`),
      check: check || `${kind}:${this.value(`name-${number}`)}`,
      value: appendUnit(typed, unit),
      ...this.sharedMembers(kind),
    };
    const replaced = this.value(`replaces-${number}`);
    if (replaced) entry.supersedes = replaced;
    if (replaced && this.value(`note-${number}`)) entry.note = this.value(`note-${number}`);
    if (kind === "line" && this.value(`corner-${number}`)) entry.from = this.value(`corner-${number}`);
    if (kind === "plumb" && this.value("height")) entry.height = appendUnit(this.value("height"), unit);
    return entry;
  }

  remember() {
    const remembered = { at: Date.now(), temperature: this.value("temperature") };
    for (const name of REMEMBERED_FIELDS) remembered[name] = this.value(name);
    localStorage.setItem(this.storageKey, JSON.stringify(remembered));
  }

  // Fill in what was remembered, but never over a form that came back with errors.
  recall() {
    const remembered = JSON.parse(localStorage.getItem(this.storageKey) || "null");
    if (!remembered || this.form.querySelector("[aria-invalid=true]")) return;
    const isWarm = Date.now() - remembered.at < TEMPERATURE_LIFETIME_MS;
    for (const name of isWarm ? [...REMEMBERED_FIELDS, "temperature"] : REMEMBERED_FIELDS) {
      const field = this.form.elements[name];
      const value = remembered[name];
      const isOffered = !field?.options || [...field.options].some((option) => option.value === value);
      if (field && value && isOffered) field.value = value;
    }
  }

  // "T1, 41 °F, crew 2", for the summary of the folded fields.
  describeDetails() {
    const degree = this.value("degree") === "degC" ? "°C" : "°F";
    const temperature = this.value("temperature") && `${this.value("temperature")} ${degree}`;
    return [this.value("instrument"), temperature, this.value("crew")].filter(Boolean).join(", ");
  }
}

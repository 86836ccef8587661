// From the lines of the form to entries of the record: the same that checks/entering.py
// writes where the form goes the plain way. And the circumstances, remembered between
// sections: who, with what, how warm.
"use strict";
(() => {
  const { lengths } = globalThis.padstone;
  const REMEMBERED = ["crew", "instrument", "degree", "unit", "setup", "height"];
  const WARM_FOR_MS = 4 * 3600 * 1000; // a tape's temperature does not keep

  class Entries {
    constructor(form) {
      this.form = form;
      this.key = `padstone.shared.${form.dataset.person}.${form.dataset.building}`;
    }

    value(name) {
      const field = this.form.elements[name];
      return field ? field.value.trim() : "";
    }

    shared(kind) {
      const entry = { at: new Date().toISOString() };
      if (this.value("crew")) entry.by = this.value("crew");
      if (this.value("at")) entry.at = new Date(this.value("at")).toISOString();
      if (kind === "strength") return entry;
      if (this.value("instrument")) entry.instrument = this.value("instrument");
      const levelled = kind === "level" || kind === "benchmark";
      if (levelled) entry.setup = this.value("setup") || "1";
      else if (this.value("temperature")) {
        entry.temperature = `${this.value("temperature")} ${this.value("degree") || "degF"}`;
      }
      return entry;
    }

    number(line) {
      return line.querySelector("[name^=typed-]").name.slice("typed-".length);
    }

    // The entry of a line, null where nothing is typed on it.
    of(line) {
      const number = this.number(line);
      const typed = this.value(`typed-${number}`);
      const { kind, check } = line.dataset;
      if (!typed) return null;
      const unit = this.value(kind === "strength" ? "strength_unit" : "unit");
      const entry = {
        id: this.value(`client_id-${number}`),
        check: check || `${kind}:${this.value(`name-${number}`)}`,
        value: lengths.withUnit(typed, unit),
        ...this.shared(kind),
      };
      const replaces = this.value(`replaces-${number}`);
      if (replaces) entry.supersedes = replaces;
      if (replaces && this.value(`note-${number}`)) entry.note = this.value(`note-${number}`);
      if (kind === "line" && this.value(`corner-${number}`)) entry.from = this.value(`corner-${number}`);
      if (kind === "plumb" && this.value("height")) {
        entry.height = lengths.withUnit(this.value("height"), unit);
      }
      return entry;
    }

    remember() {
      const held = { at: Date.now(), temperature: this.value("temperature") };
      for (const name of REMEMBERED) held[name] = this.value(name);
      localStorage.setItem(this.key, JSON.stringify(held));
    }

    recall() {
      const held = JSON.parse(localStorage.getItem(this.key) || "null");
      if (!held || this.form.querySelector("[aria-invalid=true]")) return;
      const names = Date.now() - held.at < WARM_FOR_MS ? [...REMEMBERED, "temperature"] : REMEMBERED;
      for (const name of names) {
        const field = this.form.elements[name];
        const fits = !field?.options || [...field.options].some((option) => option.value === held[name]);
        if (field && held[name] && fits) field.value = held[name];
      }
    }

    // "T1, 41 °F, crew 2": what the fold over these fields says of them.
    words() {
      const degree = this.value("degree") === "degC" ? "°C" : "°F";
      const warm = this.value("temperature") && `${this.value("temperature")} ${degree}`;
      return [this.value("instrument"), warm, this.value("crew")].filter(Boolean).join(", ");
    }
  }

  globalThis.padstone = { ...globalThis.padstone, Entries };
})();

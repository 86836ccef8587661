// A keypad of feet, inches and fractions, or metric, for wet gloves. It writes into the
// field it serves as fingers on a keyboard would; the field stays a plain field, any
// keyboard types into it at any time, and one key brings the system's own.
"use strict";
(() => {
  const { lengths } = globalThis.padstone;
  const CHOICE = "padstone.keyboard"; // "system" where the reader wants that one
  const MARGIN_PX = 12;
  const FRACTION = /(^|[ '"])(\d+\/\d+)"?$/;
  const RULES = {
    // text as it stands, and what it becomes
    digit: (text, key) => (/["']$|(mm|cm|m|ft|in|psi|MPa)$/.test(text) && !text.endsWith("'") ? text : joined(text, key)),
    feet: (text) => (/\d$/.test(text) && !/['"/]/.test(text) ? `${text}' ` : text),
    inches: (text) => (/\d$/.test(text) ? `${text}"` : text),
    unit: (text, key) => (/\d$/.test(text) ? `${text} ${key}` : text.replace(/ ?(mm|cm|m|psi|MPa)$/, ` ${key}`)),
    sign: (text) => (text.startsWith("-") ? text.slice(1) : `-${text}`),
    fraction: (text, key) => withFraction(text, key),
    back: (text) => text.replace(/( (mm|cm|m|psi|MPa)|(^| )?\d+\/\d+"?|' ?|.)$/, ""),
  };

  function joined(text, key) {
    if (key === "." && /\.\d*$/.test(text)) return text;
    return text.endsWith("'") ? `${text} ${key}` : text + key;
  }

  const written = (sixtyfourths) => {
    let [top, bottom] = [sixtyfourths, 64];
    while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
    return `${top}/${bottom}`;
  };

  // "+1/32" goes on the fraction that stands there, or comes off it again.
  function thirtysecond(standing) {
    if (!standing) return "1/32";
    const [top, bottom] = standing.split("/").map(Number);
    const parts = top * 64 / bottom;
    const next = bottom === 32 ? parts - 2 : parts + 2;
    return next ? written(next) : "";
  }

  function withFraction(text, key) {
    const found = FRACTION.exec(text);
    const base = (found ? text.slice(0, found.index) + found[1] : text).replace(/"$/, "").trimEnd();
    if (/\.\d*$/.test(base)) return text;
    const fraction = key === "+1/32" ? thirtysecond(found && found[2]) : key;
    if (!fraction) return base && `${base}${/\d$/.test(base) ? '"' : " "}`;
    const gap = base && base !== "-" ? " " : "";
    return `${base}${gap}${fraction}"`;
  }

  // Feet and inches whose last mark nobody typed: the keypad closes what it opened.
  function closed(text) {
    const tidy = text.trim();
    return /^[-+]?\d+' ?\d+(\.\d+)?$/.test(tidy) ? `${tidy}"` : tidy;
  }

  class Keypad {
    constructor(element, { onRecord, onChange }) {
      this.element = element;
      this.onChange = onChange;
      this.field = null;
      element.addEventListener("pointerdown", (event) => event.preventDefault());
      element.addEventListener("click", (event) => {
        const key = event.target.closest("button");
        if (key) this.press(key, onRecord);
      });
    }

    get wanted() {
      if (localStorage.getItem(CHOICE)) return localStorage.getItem(CHOICE) === "own";
      return matchMedia("(pointer: coarse)").matches;
    }

    serve(field, words, pad) {
      this.field = field;
      this.words = words;
      field.inputMode = this.wanted ? "none" : "text";
      if (!this.wanted) return;
      if (pad === "strength" || this.element.dataset.pad === "strength") this.element.dataset.pad = pad;
      this.element.hidden = false;
      document.body.classList.add("keypad-open");
      this.element.querySelector("[data-words]").textContent = words;
      this.tell();
    }

    // What became of the reading before, above the keys.
    say(node) {
      this.element.querySelector("[data-last]").replaceChildren(node);
    }

    // Scrolls until what is typed stands above the keys.
    makeRoomFor(part) {
      if (this.element.hidden) return;
      const { top, bottom } = part.getBoundingClientRect();
      const edge = this.element.getBoundingClientRect().top - MARGIN_PX;
      if (bottom > edge || top < 3 * MARGIN_PX) window.scrollBy(0, bottom - edge);
    }

    close() {
      this.element.hidden = true;
      document.body.classList.remove("keypad-open");
    }

    tell() {
      if (this.element.hidden || !this.field) return;
      const mm = lengths.parse(lengths.withUnit(closed(this.field.value), this.unit()));
      const style = this.element.dataset.pad === "metric" ? "metric" : "imperial";
      const readout = this.element.querySelector("[data-readout]");
      readout.textContent = mm === null ? "" : lengths.format(mm, style, { denominator: 32 });
    }

    unit() {
      return document.querySelector("[name=unit]")?.value || "";
    }

    write(text) {
      this.field.value = text;
      this.field.focus({ preventScroll: true });
      this.field.setSelectionRange(text.length, text.length);
      this.field.dispatchEvent(new Event("input", { bubbles: true }));
      this.onChange(this.field);
      this.tell();
    }

    choose(which) {
      localStorage.setItem(CHOICE, which);
      this.field.inputMode = which === "own" ? "none" : "text";
      if (which === "own") return;
      const { field } = this;
      this.close();
      field.blur();
      field.focus();
    }

    press(key, onRecord) {
      const { rule, key: written, act } = key.dataset;
      if (rule) this.write(RULES[rule](this.field.value, written).slice(0, 60));
      else if (act === "keyboard") this.choose("system");
      else if (act === "pad") {
        this.element.dataset.pad = key.dataset.to;
        this.tell();
      } else if (act === "close") {
        this.close();
        this.field.blur();
      } else if (act === "record") {
        this.field.value = closed(this.field.value);
        onRecord(this.field);
      }
    }
  }

  globalThis.padstone = { ...globalThis.padstone, keypad: { Keypad, RULES, closed } };
})();

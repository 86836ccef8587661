// A keypad of feet, inches and fractions, or metric, for wet gloves. It writes into the
// field that has the focus; the field stays an ordinary field, so any keyboard can type
// into it as well, and one key switches to the system's own keyboard.

import { closeInches, KEY_RULES } from "./keypad-rules.js";
import { appendUnit, formatLength, parseLength } from "./lengths.js";

const PREFERENCE_KEY = "padstone.keyboard"; // "own" or "system"
const MARGIN_PX = 12;
const MAX_TEXT_LENGTH = 60;

export class Keypad {
  constructor(element, { onRecord }) {
    this.element = element;
    this.field = null;
    // Without this, a tap on a key would take the focus from the field.
    element.addEventListener("pointerdown", (event) => event.preventDefault());
    element.addEventListener("click", (event) => {
      const key = event.target.closest("button");
      if (key) this.press(key, onRecord);
    });
  }

  get isPreferred() {
    const preference = localStorage.getItem(PREFERENCE_KEY);
    return preference ? preference === "own" : matchMedia("(pointer: coarse)").matches;
  }

  prefer() {
    localStorage.setItem(PREFERENCE_KEY, "own");
  }

  attachTo(field, label, layout) {
    this.field = field;
    field.inputMode = this.isPreferred ? "none" : "text";
    if (!this.isPreferred) return;
    // A section has one layout, unless the reader switched between feet and metres.
    if (layout === "strength" || this.element.dataset.pad === "strength") this.element.dataset.pad = layout;
    this.element.hidden = false;
    document.body.classList.add("keypad-open");
    this.element.querySelector("[data-words]").textContent = label;
    this.updateReadout();
  }

  // Show the outcome of the previous reading above the keys.
  showOutcome(node) {
    this.element.querySelector("[data-last]").replaceChildren(node);
  }

  scrollIntoView(part) {
    if (this.element.hidden) return;
    const { top, bottom } = part.getBoundingClientRect();
    const edge = this.element.getBoundingClientRect().top - MARGIN_PX;
    if (bottom > edge || top < 3 * MARGIN_PX) window.scrollBy(0, bottom - edge);
  }

  close() {
    this.element.hidden = true;
    document.body.classList.remove("keypad-open");
  }

  updateReadout() {
    if (this.element.hidden || !this.field) return;
    const unit = document.querySelector("[name=unit]")?.value || "";
    const mm = parseLength(appendUnit(closeInches(this.field.value), unit));
    const style = this.element.dataset.pad === "metric" ? "metric" : "imperial";
    const readout = this.element.querySelector("[data-readout]");
    readout.textContent = mm === null ? "" : formatLength(mm, style, { denominator: 32 });
  }

  write(text) {
    this.field.value = text;
    this.field.focus({ preventScroll: true });
    this.field.setSelectionRange(text.length, text.length);
    this.field.dispatchEvent(new Event("input", { bubbles: true }));
    this.updateReadout();
  }

  // Phones open their keyboard only when a field gains the focus anew.
  switchToKeyboard() {
    const { field } = this;
    localStorage.setItem(PREFERENCE_KEY, "system");
    field.inputMode = "text";
    this.close();
    field.blur();
    field.focus();
  }

  press(key, onRecord) {
    const { rule, key: value, act } = key.dataset;
    if (rule) this.write(KEY_RULES[rule](this.field.value, value).slice(0, MAX_TEXT_LENGTH));
    else if (act === "keyboard") this.switchToKeyboard();
    else if (act === "pad") {
      this.element.dataset.pad = key.dataset.to;
      this.updateReadout();
    } else if (act === "close") {
      this.close();
      this.field.blur();
    } else if (act === "record") {
      this.field.value = closeInches(this.field.value);
      onRecord(this.field);
    }
  }
}

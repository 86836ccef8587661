// The camera button of each check: resize the photograph, save it in the outbox at once,
// offer a caption, and show it under its check until the server has it.

import { listWaitingReadings, newId } from "./reading-outbox.js";
import { releasePhoto, savePhoto, setCaption } from "./photo-outbox.js";
import { resizePhoto } from "./photo-resize.js";

const MAX_CAPTION_LENGTH = 200;
const NO_ROOM = "This browser has no room to keep it: “Record” sends it with the form.";

export class PhotoCapture {
  // page: what every item of this page shares; callbacks: labelOf(row), readingIdOf(row),
  // onChange() after the outbox has changed, send().
  constructor(form, page, { labelOf, readingIdOf, onChange, send }) {
    Object.assign(this, { form, page, labelOf, readingIdOf, onChange, send });
    form.classList.add("scripted");
    for (const row of form.querySelectorAll(".entry")) {
      const input = row.querySelector("[data-snap]");
      input?.addEventListener("change", () => this.capture(row, input));
    }
  }

  async capture(row, input) {
    const [file] = input.files;
    if (!file) return;
    this.listOf(row).querySelector("[role=alert]")?.parentElement.remove();
    let jpeg;
    try {
      jpeg = await resizePhoto(file);
    } catch (error) {
      input.value = "";
      this.showError(row, error.message);
      return;
    }
    try {
      await savePhoto(this.createItem(row, file, jpeg));
    } catch {
      this.form.dataset.plain = "yes"; // the input keeps the file, and the form submits it
      this.showError(row, NO_ROOM);
      return;
    }
    input.value = "";
    this.onChange();
  }

  createItem(row, file, jpeg) {
    const takenAt = new Date(Math.min(file.lastModified || Date.now(), Date.now())).toISOString();
    return {
      ...this.page,
      id: newId(),
      file: jpeg,
      words: this.labelOf(row),
      awaits: this.awaitedReading(row),
      members: { check: row.dataset.check, reading: "", caption: "", taken_at: takenAt },
      state: "new",
      refused: [],
      order: Date.now(),
    };
  }

  // The reading being typed, or else the last one of this check that waits.
  awaitedReading(row) {
    if (row.querySelector("[name^=typed-]").value) return this.readingIdOf(row);
    const waiting = listWaitingReadings(this.page.person).filter((item) =>
      item.building === this.page.building && item.entry.check === row.dataset.check);
    return waiting.at(-1)?.entry.id || "";
  }

  get hasUnsent() {
    return this.form.querySelector("[data-snapped] [data-snap]") !== null;
  }

  listOf(row) {
    return row.querySelector("[data-snapped]");
  }

  showError(row, message) {
    const line = document.createElement("li");
    const alert = document.createElement("div");
    alert.className = "errors";
    alert.setAttribute("role", "alert");
    alert.textContent = message;
    line.append(alert);
    this.listOf(row).append(line);
    this.listOf(row).hidden = false;
  }

  // Lines that are shown already stay: a caption may be half typed in one of them.
  show(photos) {
    const shown = photos.filter((item) => item.building === this.page.building && item.state !== "refused");
    for (const row of this.form.querySelectorAll(".entry[data-check]")) {
      const list = this.listOf(row);
      const items = shown.filter((item) => item.members.check === row.dataset.check);
      const keys = items.map((item) => `${item.id} ${item.state}`);
      for (const line of [...list.children]) {
        if (line.dataset.snap && !keys.includes(line.dataset.snap)) line.remove();
      }
      const present = new Set([...list.children].map((line) => line.dataset.snap));
      list.append(...items.filter((item, index) => !present.has(keys[index])).map((item) => this.createLine(item)));
      list.hidden = !list.children.length;
    }
  }

  createLine(item) {
    const line = document.createElement("li");
    const image = document.createElement("img");
    const text = document.createElement("div");
    line.dataset.snap = `${item.id} ${item.state}`;
    line.className = "photo-line";
    image.src = URL.createObjectURL(item.file);
    image.alt = `Photograph: ${item.words}`;
    image.addEventListener("load", () => URL.revokeObjectURL(image.src));
    if (item.state === "new") text.append(...this.createCaptionField(item));
    else text.append(item.members.caption || "Photograph", ", on this phone");
    line.append(image, text);
    return line;
  }

  createCaptionField(item) {
    const field = document.createElement("input");
    const button = document.createElement("button");
    field.value = item.members.caption;
    field.maxLength = MAX_CAPTION_LENGTH;
    field.placeholder = "Caption (optional)";
    field.enterKeyHint = "done";
    field.setAttribute("aria-label", `Caption of the photograph: ${item.words}`);
    const finish = async () => {
      await setCaption(item, field.value);
      await releasePhoto(item);
      await this.onChange();
      this.send();
    };
    field.addEventListener("input", () => setCaption(item, field.value));
    field.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      finish();
    });
    button.type = "button";
    button.className = "button";
    button.textContent = "Done";
    button.addEventListener("click", finish);
    return [field, button];
  }
}

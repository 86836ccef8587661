// Photographs for a form: taken one after the other or chosen together, resized at once,
// shown, and removed again. Without this script the two file inputs do it.

import { resizePhoto } from "./photo-resize.js";

class PhotoPicker {
  constructor(element) {
    this.element = element;
    this.files = [];
    this.resizing = Promise.resolve();
    this.pending = 0;
    this.input = element.querySelector("[data-choose]");
    for (const input of [element.querySelector("[data-take]"), this.input]) {
      input.addEventListener("change", () => this.queue(input));
    }
    element.closest("form").addEventListener("submit", (event) => this.delaySubmit(event));
    element.classList.add("scripted");
  }

  // One after the other: a phone has no memory for ten photographs at once.
  queue(input) {
    const chosen = [...input.files];
    input.value = "";
    this.pending += 1;
    this.resizing = this.resizing.then(() => this.add(chosen)).finally(() => { this.pending -= 1; });
  }

  async add(chosen) {
    const status = this.element.querySelector("[data-told]");
    const errors = [];
    status.textContent = "Resizing …";
    for (const file of chosen) {
      try {
        const jpeg = await resizePhoto(file);
        this.files.push(new File([jpeg], `${file.name.replace(/\.\w+$/, "")}.jpg`, { type: jpeg.type }));
      } catch (error) {
        errors.push(`${file.name}: ${error.message}`);
      }
    }
    status.textContent = errors.join(" ");
    this.update();
  }

  // A file input takes files from a script only as a DataTransfer.
  update() {
    const transfer = new DataTransfer();
    for (const file of this.files) transfer.items.add(file);
    this.input.files = transfer.files;
    const lines = this.files.map((file, index) => this.createLine(file, index));
    this.element.querySelector("[data-chosen]").replaceChildren(...lines);
  }

  createLine(file, index) {
    const line = document.createElement("li");
    const image = document.createElement("img");
    const button = document.createElement("button");
    image.src = URL.createObjectURL(file);
    image.alt = `Photograph ${index + 1}, not sent yet`;
    image.addEventListener("load", () => URL.revokeObjectURL(image.src));
    button.type = "button";
    button.className = "button";
    button.textContent = "Remove";
    button.addEventListener("click", () => {
      this.files = this.files.filter((each) => each !== file);
      this.update();
    });
    line.append(image, button);
    return line;
  }

  delaySubmit(event) {
    if (!this.pending) return;
    event.preventDefault();
    const form = event.currentTarget;
    this.resizing.then(() => setTimeout(() => form.requestSubmit()));
  }
}

for (const element of document.querySelectorAll("[data-pictures-in]")) new PhotoPicker(element);

// A photograph for the check at hand: made smaller, kept at once, captioned if wanted,
// and shown under its check until the server has it.
"use strict";
(() => {
  const { kept, shrink, snaps } = globalThis.padstone;

  class Camera {
    // about: what every item of this page shares; told(): something changed.
    constructor(form, about, { wordsOf, currentId, told, send }) {
      Object.assign(this, { form, about, wordsOf, currentId, told, send });
      form.classList.add("scripted");
      for (const line of form.querySelectorAll(".entry")) {
        const field = line.querySelector("[data-snap]");
        field?.addEventListener("change", () => this.snap(line, field));
      }
    }

    async snap(line, field) {
      const [file] = field.files;
      if (!file) return undefined;
      this.box(line).querySelector("[role=alert]")?.parentElement.remove();
      let small;
      try {
        small = await shrink(file);
      } catch (error) {
        field.value = "";
        return void this.say(line, error.message);
      }
      try {
        await snaps.put(this.itemOf(line, file, small));
      } catch {
        this.form.dataset.plain = "yes"; // the field keeps the file, and the form takes it
        return void this.say(line, "This browser has no room to keep it: “Record” sends it with the form.");
      }
      field.value = "";
      this.told();
      return undefined;
    }

    itemOf(line, file, small) {
      const taken = Math.min(file.lastModified || Date.now(), Date.now());
      return {
        ...this.about,
        id: kept.newId(),
        file: small,
        words: this.wordsOf(line),
        awaits: this.awaited(line),
        members: { check: line.dataset.check, reading: "", caption: "", taken_at: new Date(taken).toISOString() },
        state: "new",
        refused: [],
        order: Date.now(),
      };
    }

    // The reading it is of: the one being typed, or the last of this check that waits.
    awaited(line) {
      if (line.querySelector("[name^=typed-]").value) return this.currentId(line);
      const waiting = kept.waiting(this.about.person).filter((item) =>
        item.building === this.about.building && item.entry.check === line.dataset.check);
      return waiting.at(-1)?.entry.id || "";
    }

    // Whether one is shown that is not sent yet.
    get holds() {
      return this.form.querySelector("[data-snapped] [data-snap]") !== null;
    }

    box(line) {
      return line.querySelector("[data-snapped]");
    }

    say(line, words) {
      const made = document.createElement("li");
      const told = document.createElement("div");
      told.className = "errors";
      told.setAttribute("role", "alert");
      told.textContent = words;
      made.append(told);
      this.box(line).append(made);
      this.box(line).hidden = false;
    }

    // Lines that are there stay: somebody may be typing a caption into one.
    show(pictures) {
      const mine = pictures.filter((item) => item.building === this.about.building && item.state !== "refused");
      for (const line of this.form.querySelectorAll(".entry[data-check]")) {
        const box = this.box(line);
        const items = mine.filter((item) => item.members.check === line.dataset.check);
        const ids = items.map((item) => `${item.id} ${item.state}`);
        for (const old of [...box.children]) {
          if (old.dataset.snap && !ids.includes(old.dataset.snap)) old.remove();
        }
        for (const item of items) {
          const there = [...box.children].some((old) => old.dataset.snap === `${item.id} ${item.state}`);
          if (!there) box.append(this.line(item));
        }
        box.hidden = !box.children.length;
      }
    }

    line(item) {
      const made = document.createElement("li");
      const picture = document.createElement("img");
      const words = document.createElement("div");
      made.dataset.snap = `${item.id} ${item.state}`;
      made.className = "snap-line";
      picture.src = URL.createObjectURL(item.file);
      picture.alt = `Photograph: ${item.words}`;
      picture.addEventListener("load", () => URL.revokeObjectURL(picture.src));
      if (item.state === "new") words.append(...this.captioning(item));
      else words.append(item.members.caption || "Photograph", ", on this phone");
      made.append(picture, words);
      return made;
    }

    captioning(item) {
      const field = document.createElement("input");
      const done = document.createElement("button");
      field.value = item.members.caption;
      field.maxLength = 200;
      field.placeholder = "What it shows";
      field.enterKeyHint = "done";
      field.setAttribute("aria-label", `What the photograph shows: ${item.words}`);
      const finish = async () => {
        await snaps.caption(item, field.value);
        await snaps.release(item.person, item);
        await this.told();
        this.send();
      };
      field.addEventListener("input", () => snaps.caption(item, field.value));
      field.addEventListener("keydown", (event) => {
        if (event.key !== "Enter") return;
        event.preventDefault();
        finish();
      });
      done.type = "button";
      done.className = "button";
      done.textContent = "Done";
      done.addEventListener("click", finish);
      return [field, done];
    }
  }

  globalThis.padstone = { ...globalThis.padstone, Camera };
})();

// Photographs for a form: taken one after the other or chosen together, made smaller at
// once, shown, and taken off again. Without this script the plain fields do it.
"use strict";
(() => {
  const { shrink } = globalThis.padstone;

  function attach(part) {
    const take = part.querySelector("[data-take]");
    const choose = part.querySelector("[data-choose]");
    const told = part.querySelector("[data-told]");
    const list = part.querySelector("[data-chosen]");
    const form = part.closest("form");
    let files = [];
    let working = Promise.resolve();
    let busy = 0;

    function put() {
      const all = new DataTransfer();
      for (const file of files) all.items.add(file);
      choose.files = all.files;
      list.replaceChildren(...files.map(line));
    }

    function line(file, place) {
      const made = document.createElement("li");
      const picture = document.createElement("img");
      const off = document.createElement("button");
      picture.src = URL.createObjectURL(file);
      picture.alt = `Photograph ${place + 1}, to be sent`;
      picture.addEventListener("load", () => URL.revokeObjectURL(picture.src));
      off.type = "button";
      off.className = "button";
      off.textContent = "Take off";
      off.addEventListener("click", () => {
        files = files.filter((each) => each !== file);
        put();
      });
      made.append(picture, off);
      return made;
    }

    async function add(chosen) {
      told.textContent = "Made smaller …";
      const why = [];
      for (const file of chosen) {
        try {
          const small = await shrink(file);
          files.push(new File([small], `${file.name.replace(/\.\w+$/, "")}.jpg`, { type: small.type }));
        } catch (error) {
          why.push(`${file.name}: ${error.message}`);
        }
      }
      told.textContent = why.join(" ");
      put();
    }

    function changed(field) {
      const chosen = [...field.files];
      field.value = "";
      busy += 1;
      working = working.then(() => add(chosen)).finally(() => { busy -= 1; });
    }

    for (const field of [take, choose]) field.addEventListener("change", () => changed(field));
    form.addEventListener("submit", (event) => {
      if (!busy) return;
      event.preventDefault();
      working.then(() => setTimeout(() => form.requestSubmit()));
    });
    part.classList.add("scripted");
  }

  for (const part of document.querySelectorAll("[data-pictures-in]")) attach(part);
})();

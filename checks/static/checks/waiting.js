// What waits on this phone, what was refused and why, and what was set aside.
"use strict";
(() => {
  const { kept } = globalThis.padstone;

  function count(number, one, many) {
    return number === 1 ? `1 ${one}` : `${number} ${many}`;
  }

  function button(words, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "button";
    made.textContent = words;
    made.addEventListener("click", act);
    return made;
  }

  function named(item) {
    const at = new Date(item.entry.at);
    const time = at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
    return `${item.place}, ${item.section.title}: ${item.words} “${item.typed}”, ${time}`;
  }

  // It goes only when it is asked for twice.
  function removeButton(item, show) {
    const made = button("Remove", () => {
      if (made.dataset.sure) {
        kept.remove(item);
        show();
      } else {
        made.dataset.sure = "yes";
        made.textContent = "Remove for good";
      }
    });
    return made;
  }

  function line(item, correct, show) {
    const made = document.createElement("li");
    const words = document.createElement("p");
    const buttons = document.createElement("div");
    buttons.className = "row";
    words.textContent = `${named(item)} was refused: ${item.refused.join(" ")}`;
    if (item.state === "refused") {
      buttons.append(
        button("Correct it", () => correct(item)),
        button("Set aside", () => { kept.change(item, { state: "aside" }); show(); }),
      );
    } else {
      buttons.append(
        button("Take it up again", () => { kept.change(item, { state: "refused" }); show(); }),
        removeButton(item, show),
      );
    }
    made.append(words, buttons);
    return made;
  }

  function othersWords(person) {
    const names = new Map();
    for (const item of kept.ofOthers(person)) {
      names.set(item.name, (names.get(item.name) || 0) + 1);
    }
    return [...names].map(([name, number]) =>
      `${count(number, `reading of ${name} stays`, `readings of ${name} stay`)} here until ${name} signs in.`);
  }

  // banner: the element; note: what the last attempt said; correct: takes an item up.
  function show(banner, person, note, correct) {
    const again = () => show(banner, person, "", correct);
    const mine = kept.of(person);
    const by = (state) => mine.filter((item) => item.state === state);
    const waiting = by("waiting").length;
    const words = [];
    if (waiting) words.push(`${count(waiting, "reading waits", "readings wait")} on this phone.`);
    if (note && waiting) words.push(note);
    words.push(...othersWords(person));
    banner.querySelector("[data-waiting]").textContent = words.join(" ");
    banner.querySelector("[data-send]").hidden = !waiting;
    for (const state of ["refused", "aside"]) {
      const lines = by(state).map((item) => line(item, correct, again));
      banner.querySelector(`[data-${state}]`).replaceChildren(...lines);
    }
    const aside = banner.querySelector("[data-aside-fold]");
    aside.hidden = !by("aside").length;
    aside.querySelector("summary").textContent = `Set aside: ${by("aside").length}`;
    banner.hidden = !mine.length && !words.length;
  }

  globalThis.padstone = { ...globalThis.padstone, waiting: { show } };
})();

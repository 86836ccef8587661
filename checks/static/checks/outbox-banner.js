// What waits on this phone, what was refused and why, and what was set aside.
"use strict";
(() => {
  const { kept, snaps } = globalThis.padstone;

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
  function removeButton(remove, show) {
    const made = button("Remove", async () => {
      if (made.dataset.sure) {
        await remove();
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
        removeButton(() => kept.remove(item), show),
      );
    }
    made.append(words, buttons);
    return made;
  }

  // A photograph that is not taken as it is of its check may be kept as one of the place.
  function pictureLine(item, show, send) {
    const made = document.createElement("li");
    const words = document.createElement("p");
    const buttons = document.createElement("div");
    buttons.className = "row";
    words.textContent = `A photograph, ${item.place}, ${item.section.title}: ${item.words}, was refused: ${item.refused.join(" ")}`;
    if (item.members.check) {
      buttons.append(button("Send it without the check", async () => {
        await snaps.ofThePlace(item);
        await show();
        send();
      }));
    }
    buttons.append(removeButton(() => snaps.remove(item), show));
    made.append(words, buttons);
    return made;
  }

  function othersWords(person, pictures) {
    const names = new Map();
    const all = [...kept.ofOthers(person).map((item) => [item, 0]), ...pictures.map((item) => [item, 1])];
    for (const [item, which] of all) {
      const numbers = names.get(item.name) || [0, 0];
      numbers[which] += 1;
      names.set(item.name, numbers);
    }
    return [...names].map(([name, [readings, photographs]]) => {
      const stays = readings + photographs === 1 ? "stays" : "stay";
      return `${snaps.counted(readings, photographs)} of ${name} ${stays} here until ${name} signs in.`;
    });
  }

  let known = []; // photographs, as the browser's database gave them last

  // banner: the element; note: what the last attempt said; correct: takes an item up;
  // send: sends what waits. What is known is shown at once, photographs once they are
  // looked up; gives this person's.
  async function show(banner, person, note, acts) {
    render(banner, person, note, acts);
    known = await snaps.all();
    return render(banner, person, note, acts);
  }

  function render(banner, person, note, { correct, send }) {
    const again = () => show(banner, person, "", { correct, send });
    const mine = kept.of(person);
    const taken = known.filter((item) => item.person === person);
    const others = known.filter((item) => item.person !== person);
    const by = (state) => mine.filter((item) => item.state === state);
    const refused = taken.filter((item) => item.state === "refused");
    const told = snaps.waits(by("waiting").length, taken.length - refused.length);
    const words = [];
    if (told) words.push(`${told} on this phone.`);
    if (note && told) words.push(note);
    words.push(...othersWords(person, others));
    banner.querySelector("[data-waiting]").textContent = words.join(" ");
    banner.querySelector("[data-send]").hidden = !told;
    for (const state of ["refused", "aside"]) {
      const lines = by(state).map((item) => line(item, correct, again));
      if (state === "refused") lines.push(...refused.map((item) => pictureLine(item, again, send)));
      banner.querySelector(`[data-${state}]`).replaceChildren(...lines);
    }
    const aside = banner.querySelector("[data-aside-fold]");
    aside.hidden = !by("aside").length;
    aside.querySelector("summary").textContent = `Set aside: ${by("aside").length}`;
    banner.hidden = !mine.length && !taken.length && !words.length;
    return taken;
  }

  globalThis.padstone = { ...globalThis.padstone, waiting: { show } };
})();

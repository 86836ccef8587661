// The banner above the walk: how much waits on this phone, what was refused and why, and
// what was set aside.

import { describeCounts, describeWaiting } from "./outbox-text.js";
import { listPhotos, removePhoto, resendWithoutCheck } from "./photo-outbox.js";
import { listReadingsOf, listReadingsOfOthers, removeReading, updateReading } from "./reading-outbox.js";

function createButton(label, onClick) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button";
  button.textContent = label;
  button.addEventListener("click", onClick);
  return button;
}

function describeReading(item) {
  const time = new Date(item.entry.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  return `${item.place}, ${item.section.title}: ${item.words} “${item.typed}”, ${time}`;
}

// Deleting needs a second click: the reading exists nowhere else.
function createDeleteButton(remove, refresh) {
  const button = createButton("Delete", async () => {
    if (button.dataset.confirmed) {
      await remove();
      refresh();
    } else {
      button.dataset.confirmed = "yes";
      button.textContent = "Delete permanently";
    }
  });
  return button;
}

function createLine(text, buttons) {
  const line = document.createElement("li");
  const words = document.createElement("p");
  const row = document.createElement("div");
  words.textContent = text;
  row.className = "row";
  row.append(...buttons);
  line.append(words, row);
  return line;
}

function createReadingLine(item, onCorrect, refresh) {
  const moveTo = (state) => () => { updateReading(item, { state }); refresh(); };
  const buttons = item.state === "refused"
    ? [createButton("Correct", () => onCorrect(item)), createButton("Set aside", moveTo("aside"))]
    : [createButton("Restore", moveTo("refused")), createDeleteButton(() => removeReading(item), refresh)];
  return createLine(`${describeReading(item)} was refused: ${item.refused.join(" ")}`, buttons);
}

// A photograph refused because of its check can still be stored as one of the building.
function createPhotoLine(item, refresh, onSend) {
  const where = `${item.place}, ${item.section.title}: ${item.words}`;
  const buttons = [createDeleteButton(() => removePhoto(item), refresh)];
  if (item.members.check) {
    buttons.unshift(createButton("Send without the check", async () => {
      await resendWithoutCheck(item);
      await refresh();
      onSend();
    }));
  }
  return createLine(`A photograph, ${where}, was refused: ${item.refused.join(" ")}`, buttons);
}

function describeOthers(person, photos) {
  const counts = new Map();
  const add = (item, index) => {
    const numbers = counts.get(item.name) || [0, 0];
    numbers[index] += 1;
    counts.set(item.name, numbers);
  };
  for (const item of listReadingsOfOthers(person)) add(item, 0);
  for (const item of photos) add(item, 1);
  return [...counts].map(([name, [readings, photographs]]) => {
    const verb = readings + photographs === 1 ? "stays" : "stay";
    return `${describeCounts(readings, photographs)} of ${name} ${verb} here until ${name} signs in.`;
  });
}

function renderBanner(banner, person, photos, note, actions) {
  const refresh = () => updateBanner(banner, person, "", actions);
  const readings = listReadingsOf(person);
  const own = photos.filter((item) => item.person === person);
  const refusedPhotos = own.filter((item) => item.state === "refused");
  const inState = (state) => readings.filter((item) => item.state === state);
  const waiting = describeWaiting(inState("waiting").length, own.length - refusedPhotos.length);
  const sentences = waiting ? [`${waiting} on this phone.`, note].filter(Boolean) : [];
  sentences.push(...describeOthers(person, photos.filter((item) => item.person !== person)));
  banner.querySelector("[data-waiting]").textContent = sentences.join(" ");
  banner.querySelector("[data-send]").hidden = !waiting;
  const lines = (state) => inState(state).map((item) => createReadingLine(item, actions.correct, refresh));
  banner.querySelector("[data-refused]").replaceChildren(
    ...lines("refused"),
    ...refusedPhotos.map((item) => createPhotoLine(item, refresh, actions.send)),
  );
  banner.querySelector("[data-aside]").replaceChildren(...lines("aside"));
  const aside = banner.querySelector("[data-aside-fold]");
  aside.hidden = !inState("aside").length;
  aside.querySelector("summary").textContent = `Set aside: ${inState("aside").length}`;
  banner.hidden = !readings.length && !own.length && !sentences.length;
  return own;
}

let latestPhotos = [];

// Update the banner and return this person's photographs. note: the outcome of the last
// attempt to send; actions: { correct(item), send() }. Readings are shown at once, with the
// photographs of the last look-up, because IndexedDB answers later.
export async function updateBanner(banner, person, note, actions) {
  renderBanner(banner, person, latestPhotos, note, actions);
  latestPhotos = await listPhotos();
  return renderBanner(banner, person, latestPhotos, note, actions);
}

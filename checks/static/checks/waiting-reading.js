// How a reading that is still on this phone is shown, with its provisional verdict.

import { formatAgainstLimit, formatLength } from "./lengths.js";

const SVG_NAMESPACE = "http://www.w3.org/2000/svg";

function createElement(name, properties, ...children) {
  const element = Object.assign(document.createElement(name), properties);
  element.append(...children);
  return element;
}

function createBadge(verdict) {
  const icon = document.createElementNS(SVG_NAMESPACE, "svg");
  const use = document.createElementNS(SVG_NAMESPACE, "use");
  icon.setAttribute("class", "icon");
  icon.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `#verdict-${verdict}`);
  icon.append(use);
  return createElement("span", { className: `verdict ${verdict} provisional` }, icon, `${verdict}, provisional`);
}

function describeDeviation({ deviation, limit, nominal }) {
  const style = document.documentElement.dataset.units;
  const off = formatAgainstLimit(deviation, limit, style, { denominator: 32, signed: true });
  return `off ${off}, plan ${formatLength(nominal, style)}`;
}

// One short line for the keypad, the moment a reading is recorded.
export function createOutcome(item) {
  const line = createElement("span", {}, `${item.words} ${item.entry.value}: `);
  if (item.judged) line.append(createBadge(item.judged.verdict), ` ${describeDeviation(item.judged)}`);
  else line.append("saved on this phone; checked when sent.");
  return line;
}

// One line under the check of a reading that waits.
export function createWaitingLine(item, onMeasureAgain) {
  const value = createElement("b", { textContent: item.entry.value });
  const replaces = item.entry.supersedes ? " in place of an earlier one" : "";
  const line = createElement("div", { className: "pending-line" },
    createElement("span", {}, value, replaces, ", on this phone"));
  line.dataset.waits = item.entry.id;
  if (item.judged) {
    line.append(createBadge(item.judged.verdict), createElement("span", {}, describeDeviation(item.judged)));
  } else {
    line.append(createElement("span", { className: "muted" }, "Checked when sent."));
  }
  const button = createElement("button", { type: "button", className: "button quiet" }, "Measure again");
  button.addEventListener("click", onMeasureAgain);
  line.append(button);
  return line;
}

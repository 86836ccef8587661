// The verdict a phone can give at once: |reading - nominal| within the limits that came
// with the page. Tape corrections, repeats and everything else are the server's, whose
// verdict takes this one's place; until then it is marked as provisional.
"use strict";
(() => {
  const { lengths } = globalThis.padstone;
  const SLACK_MM = 1e-6; // as checks/engine/acceptance.py: a limit is included
  const SVG = "http://www.w3.org/2000/svg";

  // { verdict, deviation, nominal } in mm, or null where only the server can judge.
  function judge(line, entry) {
    const { nominal, lower, upper, whole } = line.dataset;
    if (nominal === undefined) return null;
    const read = lengths.parse(entry.value);
    if (read === null) return null;
    const second = entry.from && entry.from !== line.dataset.first;
    if (second && whole === undefined) return null;
    const value = second ? Number(whole) - read : read;
    const deviation = value - Number(nominal);
    const within = deviation >= Number(lower) - SLACK_MM && deviation <= Number(upper) + SLACK_MM;
    return { verdict: within ? "within" : "outside", deviation, nominal: Number(nominal) };
  }

  function badge(verdict) {
    const mark = document.createElement("span");
    const icon = document.createElementNS(SVG, "svg");
    const use = document.createElementNS(SVG, "use");
    mark.className = `verdict ${verdict} provisional`;
    icon.setAttribute("class", "icon");
    icon.setAttribute("aria-hidden", "true");
    use.setAttribute("href", `#verdict-${verdict}`);
    icon.append(use);
    mark.append(icon, `${verdict}, provisional`);
    return mark;
  }

  function told({ deviation, nominal }) {
    const style = document.documentElement.dataset.units;
    const off = lengths.format(deviation, style, { denominator: 32, signed: true });
    return `off ${off}, plan ${lengths.format(nominal, style)}`;
  }

  // What is said of a reading the moment it is recorded: beside the keys, in few words.
  function atOnce(item) {
    const words = document.createElement("span");
    words.append(`${item.words} ${item.entry.value}: `);
    if (item.judged) words.append(badge(item.judged.verdict), ` ${told(item.judged)}`);
    else words.append("kept; the server judges it.");
    return words;
  }

  // One reading that waits, as a line under its check.
  function waitingLine(item, measureAgain) {
    const line = document.createElement("div");
    const words = document.createElement("span");
    const again = document.createElement("button");
    words.append(Object.assign(document.createElement("b"), { textContent: item.entry.value }));
    words.append(item.entry.supersedes ? " in place of an earlier one" : "", ", on this phone");
    line.className = "pending-line";
    line.dataset.waits = item.entry.id;
    line.append(words);
    if (item.judged) {
      line.append(badge(item.judged.verdict));
      line.append(Object.assign(document.createElement("span"), { textContent: told(item.judged) }));
    } else {
      line.append(Object.assign(document.createElement("span"), {
        className: "pencil", textContent: "The server judges it.",
      }));
    }
    again.type = "button";
    again.className = "button quiet";
    again.textContent = "Measure again";
    again.addEventListener("click", measureAgain);
    line.append(again);
    return line;
  }

  globalThis.padstone = { ...globalThis.padstone, provisional: { judge, atOnce, waitingLine } };
})();

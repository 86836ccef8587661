// The two switches every page has (lengths, light) without a reload, and small helps.
"use strict";
(() => {
  const root = document.documentElement;
  const year = 60 * 60 * 24 * 365;

  function remember(name, value) {
    const secure = location.protocol === "https:" ? "; Secure" : "";
    document.cookie = `${name}=${value}; Path=/; Max-Age=${year}; SameSite=Lax${secure}`;
  }

  // Times are shown and taken as this browser's clock has them.
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone && !document.cookie.split("; ").includes(`zone=${zone}`)) remember("zone", zone);

  function showLengths(scope) {
    const style = root.dataset.units;
    for (const node of scope.querySelectorAll(".length[data-imperial]")) {
      node.textContent = node.dataset[style];
      node.title = ["imperial", "decimal", "metric"]
        .filter((other) => other !== style).map((other) => node.dataset[other])
        .filter((text, place, all) => text !== node.textContent && all.indexOf(text) === place).join(" · ");
    }
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest(".switches button[name]");
    if (!button) return;
    event.preventDefault();
    remember(button.name, button.value);
    root.dataset[button.name] = button.value;
    for (const other of button.parentElement.querySelectorAll("button")) {
      other.setAttribute("aria-pressed", String(other === button));
    }
    if (button.name === "units") {
      showLengths(document);
      document.dispatchEvent(new CustomEvent("units-changed", { detail: button.value }));
    }
  });

  // A drawer closes when the next thing is touched, or with Escape.
  document.addEventListener("click", (event) => {
    for (const drawer of document.querySelectorAll("details.user-menu[open]")) {
      if (!drawer.contains(event.target)) drawer.open = false;
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    for (const drawer of document.querySelectorAll("details.user-menu[open]")) {
      drawer.open = false;
      drawer.querySelector("summary").focus();
    }
  });

  // A file read as soon as it is chosen is read anew where it is chosen again, mended.
  for (const act of ["click", "drop"]) {
    document.addEventListener(act, (event) => {
      if (event.target.matches("[hx-post] input[type=file]")) event.target.value = "";
    });
  }

  // The tab one is on is in sight, also where the row of tabs is wider than the phone.
  for (const rail of document.querySelectorAll(".tabs")) {
    const here = rail.querySelector("[aria-current]");
    if (here) rail.scrollLeft = here.offsetLeft - (rail.clientWidth - here.offsetWidth) / 2;
  }

  document.addEventListener("htmx:afterSwap", (event) => showLengths(event.target));
})();

// Every page: the switches for units and theme, the user menu, and small aids.

const root = document.documentElement;
const year = 60 * 60 * 24 * 365;

// Report the browser's time zone: the default where the account has none.
const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
if (zone && !document.cookie.split("; ").includes(`zone=${zone}`)) {
  const secure = location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `zone=${zone}; Path=/; Max-Age=${year}; SameSite=Lax${secure}`;
}

// The server saves a preference with the account, or in a cookie of a visitor.
function savePreference(form, name, value) {
  const body = new URLSearchParams({
    [name]: value,
    csrfmiddlewaretoken: form.elements.csrfmiddlewaretoken.value,
  });
  // Without a network the choice holds for this page alone.
  fetch(form.action, { method: "POST", body, redirect: "manual", keepalive: true }).catch(() => {});
}

function showLengths(scope) {
  const style = root.dataset.units;
  for (const node of scope.querySelectorAll(".length[data-imperial]")) {
    node.textContent = node.dataset[style];
    node.title = ["imperial", "decimal", "metric"]
      .filter((other) => other !== style).map((other) => node.dataset[other])
      .filter((text, index, all) => text !== node.textContent && all.indexOf(text) === index).join(" · ");
  }
}

document.addEventListener("click", (event) => {
  const button = event.target.closest(".switches button[name]");
  if (!button) return;
  event.preventDefault();
  savePreference(button.form, button.name, button.value);
  root.dataset[button.name] = button.value;
  for (const other of button.parentElement.querySelectorAll("button")) {
    other.setAttribute("aria-pressed", String(other === button));
  }
  if (button.name === "units") {
    showLengths(document);
    document.dispatchEvent(new CustomEvent("units-changed", { detail: button.value }));
  }
});

// The user menu closes on a click elsewhere, or with Escape.
document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.user-menu[open]")) {
    if (!menu.contains(event.target)) menu.open = false;
  }
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of document.querySelectorAll("details.user-menu[open]")) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});

// A file that is chosen again after a correction must be read again.
for (const act of ["click", "drop"]) {
  document.addEventListener(act, (event) => {
    if (event.target.matches("[hx-post] input[type=file]")) event.target.value = "";
  });
}

// Scroll the current tab into view where the tabs are wider than the screen.
for (const tabs of document.querySelectorAll(".tabs")) {
  const current = tabs.querySelector("[aria-current]");
  if (current) tabs.scrollLeft = current.offsetLeft - (tabs.clientWidth - current.offsetWidth) / 2;
}

document.addEventListener("htmx:afterSwap", (event) => showLengths(event.target));

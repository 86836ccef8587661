// A page that is meant for paper has a button to print it.
"use strict";
for (const button of document.querySelectorAll("[data-print]")) {
  button.addEventListener("click", () => window.print());
}

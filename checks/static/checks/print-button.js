// Print the page by a button, on pages that are meant for paper.

for (const button of document.querySelectorAll("[data-print]")) {
  button.addEventListener("click", () => window.print());
}

// Bring the verdicts and readings of the page up to date from the server, without touching
// what is being typed.

const fieldOf = (row) => row.querySelector("[name^=typed-]");
const rowsOf = (form) => [...form.querySelectorAll(".entry")];
const checksOf = (form) => rowsOf(form).map((row) => row.dataset.check).join();

// Replace one part by the server's, with the choices made in its lists.
function replacePart(part, fresh) {
  for (const { name, value } of part.querySelectorAll("select")) {
    const select = fresh.querySelector(`[name="${name}"]`);
    if ([...(select?.options || [])].some((option) => option.value === value)) select.value = value;
  }
  part.replaceWith(fresh);
}

function replaceRows(form, freshForm) {
  const freshRows = rowsOf(freshForm);
  rowsOf(form).forEach((row, index) => {
    if (fieldOf(row).value || row.contains(document.activeElement?.closest("select"))) return;
    for (const name of ["verdict", "known"]) {
      const find = (root) => root.querySelector(`[data-swap=${name}]`);
      if (find(row) && find(freshRows[index])) replacePart(find(row), find(freshRows[index]));
    }
  });
}

// Return whether the page was updated. Where the section has other checks by now, as after
// a plan revision, the page is loaded anew unless something is typed on it.
export async function refreshPage(form) {
  const response = await fetch(location.href, { credentials: "same-origin" }).catch(() => null);
  if (!response || !response.ok) return false;
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const freshForm = page.querySelector("form[data-outbox]");
  if (!freshForm || freshForm.dataset.person !== form.dataset.person) return false;
  if (checksOf(freshForm) !== checksOf(form)) {
    if (!rowsOf(form).some((row) => fieldOf(row).value)) location.reload();
    return false;
  }
  replaceRows(form, freshForm);
  for (const name of ["walk", "left"]) {
    const part = document.querySelector(`[data-swap=${name}]`);
    const fresh = page.querySelector(`[data-swap=${name}]`);
    if (part && fresh) part.replaceWith(fresh);
  }
  return true;
}

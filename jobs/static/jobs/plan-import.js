// What is typed into the document counts: the file it was read from is let go.
document.addEventListener("input", (event) => {
  if (event.target.id === "id_document") document.getElementById("id_file").value = "";
});

"use strict";
// Dragging a visit to another crew or day fills in and sends the same form that the keyboard uses.
const form = document.getElementById("drag-form");
if (form) {
  let held = null;
  document.addEventListener("dragstart", (event) => {
    held = event.target.closest ? event.target.closest("[data-place]") : null;
    if (held) event.dataTransfer.effectAllowed = "move";
  });
  document.addEventListener("dragend", () => {
    held = null;
    for (const cell of document.querySelectorAll(".under")) cell.classList.remove("under");
  });
  for (const cell of document.querySelectorAll("[data-crew]")) {
    cell.addEventListener("dragover", (event) => {
      if (!held) return;
      event.preventDefault();
      cell.classList.add("under");
    });
    cell.addEventListener("dragleave", () => cell.classList.remove("under"));
    cell.addEventListener("drop", (event) => {
      if (!held) return;
      event.preventDefault();
      form.action = held.dataset.place;
      form.elements.version.value = held.dataset.version;
      form.elements.crew.value = cell.dataset.crew;
      form.elements.day.value = cell.dataset.day;
      form.requestSubmit();
    });
  }
}

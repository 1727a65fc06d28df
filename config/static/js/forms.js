"use strict";
// A form is sent once: the second tap of a slow one does nothing. The server guards this as well.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "1";
  form.dataset.unsaved = "";
});
// A page that comes back from the browser's own store may be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});
// Work that was typed and not saved is not lost by a slip of the finger.
document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (form && form.matches("[data-guard]")) form.dataset.unsaved = "1";
});
window.addEventListener("beforeunload", (event) => {
  if ([...document.forms].some((form) => form.dataset.unsaved)) event.preventDefault();
});
const summary = document.getElementById("error-summary");
if (summary) summary.focus();

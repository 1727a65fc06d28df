"use strict";
// A slider is the same figure as the field beside it: moving one moves the other. Without this file only the fields are there.
for (const slider of document.querySelectorAll("input.slide")) {
  const field = document.getElementById(slider.dataset.for);
  if (!field) continue;
  const follow = () => {
    const number = field.value.replace(/,/g, "").match(/\d+(\.\d+)?/);
    slider.value = number ? number[0] : slider.dataset.start;
  };
  follow();
  slider.hidden = false;
  field.addEventListener("input", follow);
  slider.addEventListener("input", () => {
    field.value = slider.value;
  });
}

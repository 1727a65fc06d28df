"use strict";
const PAPER_PX = 640;
// Draws each chart from the figure that stands beside it in the page. Nothing is sent anywhere.
for (const place of document.querySelectorAll("[data-figure]")) {
  const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
  // Otherwise the library falls back to the height of the empty box when the window changes.
  if (figure.layout.height) place.style.height = figure.layout.height + "px";
  Plotly.newPlot(place, figure.data, figure.layout, {
    displayModeBar: false,
    displaylogo: false,
    showSendToCloud: false,
    responsive: true,
  });
  // Paper is narrower than most screens; the library itself only follows the window.
  window.addEventListener("beforeprint", () => Plotly.relayout(place, { autosize: false, width: PAPER_PX }));
  window.addEventListener("afterprint", () => Plotly.relayout(place, { autosize: true, width: null }));
}

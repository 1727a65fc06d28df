"use strict";
// Draws each chart from the figure that stands beside it in the page. Nothing is sent anywhere.
for (const place of document.querySelectorAll("[data-figure]")) {
  const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
  Plotly.newPlot(place, figure.data, figure.layout, {
    displayModeBar: false,
    displaylogo: false,
    showSendToCloud: false,
    responsive: true,
  });
}

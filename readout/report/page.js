"use strict";
// Draws the charts from the data in the page. On paper a chart is as wide as the paper allows.
const specs = JSON.parse(document.getElementById("charts").textContent);
const places = Array.from(document.querySelectorAll("[data-chart]"));
const options = { responsive: true, displaylogo: false, displayModeBar: false };
const PAPER_WIDTH = 660;
const PAPER_HEIGHT = 290;
const SCREEN_HEIGHT = 360;
for (const place of places) {
  const spec = specs[Number(place.dataset.chart)];
  Plotly.newPlot(place, spec.data, spec.layout, options);
}
window.addEventListener("beforeprint", () => {
  for (const place of places) Plotly.relayout(place, { width: PAPER_WIDTH, height: PAPER_HEIGHT, autosize: false });
});
window.addEventListener("afterprint", () => {
  for (const place of places) Plotly.relayout(place, { width: null, height: SCREEN_HEIGHT, autosize: true });
});

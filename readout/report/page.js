"use strict";
// Draws the charts from the data in the page: as wide as the window, on a phone in the narrow form that a chart
// may have, on paper as wide as the paper allows. Folded tables are open on paper.
const specs = JSON.parse(document.getElementById("charts").textContent);
const places = Array.from(document.querySelectorAll("[data-chart]"));
const options = { responsive: true, displaylogo: false, displayModeBar: false, showTips: false };
const phone = window.matchMedia("(max-width: 40rem)");
const PAPER = { width: 660, scale: 0.72 };
const spec_of = place => structuredClone(specs[Number(place.dataset.chart)]);
const draw = (place, change, narrow) => {
  const { data, layout, narrow: form } = spec_of(place);
  const own = narrow && form ? form : { data: [], layout: {} };
  if (place.dataset.narrow !== String(narrow)) Plotly.purge(place); // what one form has must not stay in the other
  place.dataset.narrow = String(narrow);
  const traces = data.map((one, n) => ({ ...one, ...own.data[n] }));
  return Plotly.react(place, traces, { ...layout, ...own.layout, ...change }, options);
};
const on_screen = () => { for (const place of places) draw(place, {}, phone.matches); };
const on_paper = () => {
  for (const place of places) {
    const height = spec_of(place).layout.height * PAPER.scale;
    draw(place, { width: PAPER.width, height, autosize: false }, false);
  }
};
on_screen();
phone.addEventListener("change", on_screen);
const unfolded = [];
window.addEventListener("beforeprint", () => {
  for (const one of document.querySelectorAll("details:not([open])")) {
    one.open = true;
    unfolded.push(one);
  }
  on_paper();
});
window.addEventListener("afterprint", () => {
  for (const one of unfolded.splice(0)) one.open = false;
  on_screen();
});

"use strict";
// Charts of the last hours. The drawing script is large and comes last, so that values are there before it.
const Charts = (() => {
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(`--${name}`).trim();
  const coarse = matchMedia("(pointer: coarse)").matches;
  const options = { responsive: true, displaylogo: false, displayModeBar: false, scrollZoom: false };
  const LEAST_MS = 120000; // a chart shows at least so much
  let drawing = null;

  function script() {
    drawing ??= new Promise((done, failed) => {
      const element = document.createElement("script");
      element.src = "drawing.js";
      element.onload = () => done(window.Plotly);
      element.onerror = () => { drawing = null; failed(new Error("the drawing script did not come")); };
      document.head.append(element);
    });
    return drawing;
  }

  /** Milliseconds by which a zone's clocks were ahead of UTC at a moment. */
  function ahead(zone, at) {
    const parts = {};
    const format = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric",
      hour: "numeric", minute: "numeric", second: "numeric",
    });
    for (const part of format.formatToParts(at)) parts[part.type] = Number(part.value);
    const there = Date.UTC(parts.year, parts.month - 1, parts.day, parts.hour, parts.minute, parts.second);
    return there - Math.floor(at / 1000) * 1000;
  }

  // The drawing script reads a few tags in its texts: names and notes must not become any.
  const plain = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
  const short = (text) => (text.length > 28 ? `${text.slice(0, 27)}…` : text);

  function line(name, x, y, stroke, width) {
    return {
      name, x, y, type: "scatter", mode: "lines", connectgaps: false, showlegend: false,
      line: { color: stroke, width }, hoverinfo: name === "mean" ? "x+y" : "skip",
    };
  }

  function bands(gaps, entries, at, begin, end) {
    const shapes = [], annotations = [];
    const band = (begin, until, fill, border) => shapes.push({
      type: "rect", xref: "x", yref: "paper", x0: at(begin), x1: at(until), y0: 0, y1: 1, layer: "below",
      fillcolor: fill, line: { width: border, color: colour("quiet") },
    });
    const word = (moment, text, y) => annotations.push({
      x: at(moment), xref: "x", y, yref: "paper", text: plain(short(text)), showarrow: false,
      xanchor: "left", yanchor: "top", font: { size: 12, color: colour("ink") }, bgcolor: "rgba(251, 249, 244, 0.85)",
    });
    for (const gap of gaps) band(Math.max(gap.begin_ms, begin), gap.end_ms, colour("pale"), 0);
    for (const entry of entries) {
      const until = Math.min(entry.end_ms ?? entry.begin_ms, end);
      if (until < begin || entry.begin_ms > end) continue;
      const from = Math.max(entry.begin_ms, begin);
      band(from, until, "rgba(31, 86, 115, 0.1)", 1);
      word(from, entry.text, entry.kind === "mark" ? 1 : 0.9);
    }
    return { shapes, annotations };
  }

  /** Draw what the recorder told of a reading into a place. */
  async function draw(place, found, label, zone, entries) {
    const Plotly = await script();
    const shift = ahead(zone, found.begin_ms + found.step_ms * found.mean.length);
    const at = (moment) => new Date(moment + shift).toISOString().slice(0, -1);
    const x = found.mean.map((_, i) => at(found.begin_ms + i * found.step_ms));
    const strokesAt = x.flatMap((moment) => [moment, moment, moment]);
    const strokes = found.low.flatMap((low, i) => [low, found.high[i], null]);
    const end = found.begin_ms + found.step_ms * found.mean.length;
    // A recording that has just begun fills the chart from its first row on.
    const first = found.mean.findIndex((one) => one !== null);
    const known = Math.min(first < 0 ? end : found.begin_ms + first * found.step_ms, found.gaps[0]?.begin_ms ?? end);
    const begin = Math.max(found.begin_ms, Math.min(known, end - LEAST_MS));
    const axis = {
      fixedrange: coarse, gridcolor: colour("pale"), linecolor: colour("rule"), tickcolor: colour("rule"),
      zeroline: false, automargin: true,
    };
    const layout = {
      margin: { l: 8, r: 8, t: 8, b: 8 }, paper_bgcolor: colour("paper"), plot_bgcolor: colour("paper"),
      font: { family: "Georgia, serif", size: 14, color: colour("ink") }, dragmode: coarse ? false : "zoom",
      hovermode: "closest", uirevision: `${label} ${found.step_ms}`,
      xaxis: { ...axis, type: "date", range: [at(begin), at(end)], tickformat: end - begin > 600000 ? "%H:%M" : "%H:%M:%S" },
      yaxis: { ...axis, title: { text: plain(label) }, rangemode: "normal" },
      ...bands(found.gaps, entries, at, begin, end),
    };
    const data = [
      line("lowest to highest", strokesAt, strokes, colour("line"), 1.4),
      line("mean", x, found.mean, colour("line"), 1.8),
    ];
    await Plotly.react(place, data, layout, options);
  }

  return { draw, ahead };
})();

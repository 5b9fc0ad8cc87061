"use strict";
// Keeps the page as the recorder tells it: values and ages, charts, the log book. Texts from outside are
// only ever set as text.
const byId = (id) => document.getElementById(id);
const points = new Map(); // name → { told, parts, chart }
let book = [];
let names = [];
let standing = null;
let heardAt = null; // performance.now() of the last word of the recorder
let clockAhead = 0; // the recorder's clock less performance.now(), ms

const SILENCE_MS = 10000; // the recorder speaks every 3 s at least
const OVERDUE_ROUNDS = 3;
const ON_ITS_WAY_MS = 5000;
const CHART_EVERY_MS = { "15min": 4000, "6h": 30000 };

const now = () => performance.now() + clockAhead;
const setText = (element, text) => { if (element.textContent !== text) element.textContent = text; };

function spanWords(ms) {
  const seconds = Math.max(0, ms) / 1000;
  if (seconds < 10) return `${seconds.toFixed(1)} s`;
  if (seconds < 120) return `${Math.floor(seconds)} s`;
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min`;
  return `${Math.floor(seconds / 3600)} h ${Math.floor(seconds / 60) % 60} min`;
}

function clock(ms, zone, day = false) {
  const parts = { timeZone: zone, hourCycle: "h23", hour: "2-digit", minute: "2-digit", second: "2-digit" };
  const dated = day ? { year: "numeric", month: "short", day: "numeric", ...parts } : parts;
  return new Intl.DateTimeFormat("en-GB", dated).format(ms);
}

const city = (zone) => zone.replace(/_/g, " ");
const zoneOf = (name) => points.get(name)?.told.zone ?? points.values().next().value?.told.zone ?? "UTC";
const percent = (share) => `${(Math.floor(share * 1000) / 10).toFixed(1)} %`;

// ---- one point

function made(name) {
  const article = byId("point").content.firstElementChild.cloneNode(true);
  const part = (selector) => article.querySelector(selector);
  const found = {
    told: null, article, chart: { due: 0, drawn: "" }, state: "",
    part: Object.fromEntries(
      ["name", "meter", "what", "number", "unit", "reference", "state", "cause", "before", "others", "which", "span", "chart",
        "legend", "gaps", "shares", "causes"].map((one) => [one, part(`.${one}`)])),
  };
  found.part.name.id = `point-${name}`;
  article.setAttribute("aria-labelledby", found.part.name.id);
  for (const choice of [found.part.which, found.part.span]) {
    choice.addEventListener("change", () => { found.chart.due = 0; });
  }
  return found;
}

function line(reading) {
  const row = document.createElement("div");
  const what = document.createElement("dt");
  const value = document.createElement("dd");
  for (const kind of ["number", "unit", "flag"]) {
    const element = document.createElement("span");
    element.className = kind;
    value.append(element, " ");
  }
  what.textContent = words(reading.name);
  row.append(what, value);
  row.dataset.name = reading.name;
  return row;
}

/** Units and conditions as they are printed; the archive keeps them in plain letters. */
const printed = (unit) => (unit ?? "").replace(/\b(m|ft)([23])(?![0-9])/g, (_, of, power) => of + (power === "2" ? "²" : "³")).replace(/\bdeg([CF])\b/g, "°$1");

const words = (name) => name.replace(/_/g, " ");

function showNumber(element, text) {
  setText(element, text ?? "–");
  element.classList.toggle("none", text === null);
}

function showReading(place, reading) {
  showNumber(place.querySelector(".number"), reading.text);
  setText(place.querySelector(".unit"), reading.text === null ? "" : printed(reading.unit));
  setText(place.querySelector(".flag"), reading.flag ?? "");
}

function show(point) {
  const { told, part } = point;
  const row = told.last;
  setText(part.name, told.name);
  setText(part.meter, `${told.meter}, every ${spanWords(told.every_ms).replace(".0", "")}`);
  const chosen = part.which.value;
  if (part.which.dataset.for !== told.charts.join()) {
    part.which.dataset.for = told.charts.join();
    part.which.replaceChildren(...told.charts.map((name) => new Option(words(name), name)));
    part.which.value = told.charts.includes(chosen) ? chosen : told.main;
  }
  setText(part.what, words(told.main ?? ""));
  if (row === null) return;
  const main = row.readings.find((one) => one.name === told.main);
  if (main) {
    showNumber(part.number, main.text);
    setText(part.unit, main.text === null ? "" : printed(main.unit));
    const remarks = [main.text !== null && main.reference ? `at ${printed(main.reference)}` : "", main.flag ?? ""];
    setText(part.reference, remarks.filter(Boolean).join("; "));
  }
  const others = row.readings.filter((one) => one.name !== told.main);
  if (part.others.dataset.for !== others.map((one) => one.name).join()) {
    part.others.dataset.for = others.map((one) => one.name).join();
    part.others.replaceChildren(...others.map(line));
  }
  others.forEach((reading, i) => showReading(part.others.children[i], reading));
  const before = told.good?.readings.find((one) => one.name === told.main);
  setText(part.before, before?.text
    ? `Last value ${before.text} ${printed(before.unit)} at ${clock(told.good.due_ms, told.zone)}` : "");
}

/** How a point stands, as a sentence; and whether it has values. */
function standingOf(told) {
  const row = told.last;
  if (row === null) return { lacking: true, kind: "none", text: "No row yet" };
  const age = now() - row.due_ms;
  if (age > OVERDUE_ROUNDS * told.every_ms + ON_ITS_WAY_MS) {
    return { lacking: true, kind: "overdue", text: `No row for ${spanWords(age)}` };
  }
  if (told.lacking > 0) {
    const cause = row.cause && row.cause !== row.status ? row.cause : "";
    const since = `for ${spanWords(now() - told.lacking_since_ms)}, since ${clock(told.lacking_since_ms, told.zone)}`;
    const lacks = told.lacking_status ?? row.status;
    const status = lacks[0].toUpperCase() + lacks.slice(1);
    return { lacking: true, kind: lacks, text: `${status} ${since}`, cause };
  }
  const measured = `Measured ${spanWords(now() - (row.time_ms ?? row.due_ms))} ago`;
  if (row.status === "partial") return { lacking: false, kind: "partial", text: `${measured}; some readings are missing` };
  const unset = row.clock === "unset" ? "; this computer's clock is not set" : "";
  return { lacking: false, kind: "ok", text: measured + unset };
}

function tick() {
  const silent = heardAt === null ? 0 : performance.now() - heardAt;
  const unheard = silent > SILENCE_MS;
  document.body.classList.toggle("unheard", unheard);
  byId("unheard").hidden = !unheard;
  if (unheard) setText(byId("unheard"), `No word from the recorder for ${spanWords(silent)}. What is shown is old.`);
  if (heardAt !== null && names.length) {
    const zone = zoneOf(names[0]);
    const said = unheard ? `Last heard at ${clock(heardAt + clockAhead, zone)}` : `Recording. ${clock(now(), zone)}`;
    setText(byId("heard"), `${said}, ${city(zone)} time`);
  }
  for (const [name, point] of points) {
    const found = standingOf(point.told);
    setText(point.part.state, found.text);
    setText(point.part.cause, found.cause ?? "");
    point.article.classList.toggle("lacking", found.lacking);
    if (point.state && point.state !== found.kind) setText(byId("spoken"), `${name}: ${found.text}`);
    point.state = found.kind;
  }
}

// ---- charts

async function drawCharts() {
  if (document.hidden) return;
  for (const [name, point] of points) {
    const { which, span, chart, legend, gaps } = point.part;
    if (!which.value || performance.now() < point.chart.due) continue;
    point.chart.due = performance.now() + CHART_EVERY_MS[span.value];
    try {
      const query = new URLSearchParams({ point: name, reading: which.value, span: span.value });
      const answer = await fetch(`chart?${query}`);
      if (!answer.ok) continue;
      const found = await answer.json();
      const reading = (point.told.last ?? point.told.good)?.readings.find((one) => one.name === which.value);
      const unit = reading?.unit ?? point.told.good?.readings.find((one) => one.name === which.value)?.unit;
      const label = unit ? `${words(which.value)} [${printed(unit)}]` : words(which.value);
      const mine = book.filter((entry) => entry.kind !== "event" && (entry.point ?? name) === name);
      legendOf(legend, chart, found, label, span, point.told.zone);
      gapsOf(gaps, found, point.told.zone);
      await Charts.draw(chart, found, label, point.told.zone, mine);
    } catch {
      point.chart.due = performance.now() + 5000; // the recorder is away: the page says so above
    }
  }
}

function legendOf(legend, chart, found, label, span, zone) {
  const lows = found.low.filter((one) => one !== null);
  const highs = found.high.filter((one) => one !== null);
  const step = found.step_ms / 1000;
  const over = span.selectedOptions[0].textContent;
  const range = lows.length ? `from ${Math.min(...lows)} to ${Math.max(...highs)}` : "nothing measured";
  setText(legend, `The last ${over}: ${range}. Each stroke runs from the lowest to the highest row of ${step} s; shaded: no values. Times of ${city(zone)}.`);
  chart.setAttribute("aria-label", `${label} over the last ${over}: ${range}`);
}

function gapsOf(list, found, zone) {
  const told = found.gaps.slice(-5).reverse().map((gap) =>
    `${clock(gap.begin_ms, zone)} to ${clock(gap.end_ms, zone)}: ${gap.status}`);
  fill(list, told, (text) => text);
}

function fill(list, items, textOf) {
  if (list.dataset.told === JSON.stringify(items)) return;
  list.dataset.told = JSON.stringify(items);
  list.replaceChildren(...items.map((item) => {
    const element = document.createElement("li");
    element.textContent = textOf(item);
    return element;
  }));
}

// ---- how complete, and the archive

function showStanding() {
  for (const [name, point] of points) {
    const told = standing?.points[name];
    if (!told) continue;
    const { hour, day, start } = told.coverage;
    const asked = clock(standing.asked_ms, point.told.zone);
    setText(point.part.shares,
      `Covered: ${percent(hour)} of the last hour, ${percent(day)} of the last day, ${percent(start)} since the first row. Worked out at ${asked}.`);
    const causes = Object.entries(told.missing).filter(([, rounds]) => rounds > 0).sort((a, b) => b[1] - a[1]);
    fill(point.part.causes, causes, ([cause, rounds]) => `${rounds} ${rounds === 1 ? "round" : "rounds"} missing: ${cause}`);
  }
  if (!standing) return;
  const free = Math.round(standing.disk.free_bytes / 1e9);
  const full = standing.disk.full_in_s === null ? "" : `, full in ${Math.round(standing.disk.full_in_s / 86400)} days at this rate`;
  const { waiting } = standing.journal;
  setText(byId("archive"), `Archive: ${waiting === 1 ? "1 row waits" : `${waiting} rows wait`} to be sealed; ${free} GB free on its disk${full}.`);
}

// ---- the log book

function showBook() {
  const several = names.length > 1;
  byId("book-empty").hidden = book.length > 0;
  byId("entries").replaceChildren(...book.slice().reverse().slice(0, 60).map((entry) => {
    const zone = zoneOf(entry.point);
    const element = document.createElement("li");
    const kind = document.createElement("span");
    kind.className = "kind";
    const until = entry.end_ms === null ? "" : ` to ${clock(entry.end_ms, zone, true)}`;
    const whose = several && entry.point !== null ? `, ${entry.point}` : "";
    kind.textContent = `${clock(entry.begin_ms, zone, true)}${until}, ${entry.kind}${whose}`;
    const text = document.createElement("bdi");
    text.className = "text";
    text.textContent = entry.text;
    element.append(kind, text);
    return element;
  }));
}

byId("entry").addEventListener("submit", async (event) => {
  event.preventDefault();
  const told = byId("entry-told");
  const text = byId("entry-text");
  setText(told, "Writing …");
  try {
    const answer = await fetch("entry", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Pipeledger": "page" },
      body: JSON.stringify({ point: byId("entry-point").value, text: text.value }),
    });
    const said = answer.headers.get("content-type")?.includes("json") ? await answer.json() : { fault: await answer.text() };
    if (!answer.ok) {
      setText(told, `Not written: ${said.fault}`);
      return;
    }
    text.value = "";
    setText(told, answer.status === 201 ? "Written into the ledger." : "Kept; the recorder takes it into the ledger as soon as it can.");
  } catch {
    setText(told, "Not written: the recorder does not answer. The text stays here.");
  }
});

// ---- news

function take(news) {
  heardAt = performance.now();
  clockAhead = news.now_ms - heardAt;
  for (const told of news.points ?? []) {
    if (!points.has(told.name)) points.set(told.name, made(told.name));
    points.get(told.name).told = told;
    show(points.get(told.name));
  }
  if (news.names) placePoints(news.names);
  if (news.standing) standing = news.standing;
  if (news.standing || news.names) showStanding();
  if (news.book) book = news.book;
  if (news.book || news.names) showBook();
  tick();
}

function placePoints(told) {
  names = told;
  for (const name of points.keys()) if (!names.includes(name)) points.delete(name);
  const shown = names.filter((name) => points.has(name));
  byId("points").replaceChildren(...shown.map((name) => points.get(name).article));
  const sites = [...new Set(shown.map((name) => points.get(name).told.site))];
  setText(byId("site"), sites.join(", ") || "Live readings");
  document.title = `${sites.join(", ") || "Live readings"}: live`;
  const chosen = byId("entry-point").value;
  byId("entry-point").replaceChildren(...names.map((name) => new Option(name, name)));
  if (names.includes(chosen)) byId("entry-point").value = chosen;
  byId("entry-whose").hidden = names.length < 2;
}

const source = new EventSource("news");
source.onmessage = (event) => take(JSON.parse(event.data));
source.onerror = () => {
  heardAt ??= performance.now();
  // A browser gives up after some refusals, such as while the recorder starts again: begin anew then.
  if (source.readyState === EventSource.CLOSED) setTimeout(() => location.reload(), 3000);
};
setInterval(tick, 250);
setInterval(drawCharts, 500);

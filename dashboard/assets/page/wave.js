/* The wave of one district as it is sampled now, and its figures, twice a second. */
import { chart, feed, make } from "./start.js";

const EVERY_MS = 500;
const CYCLES = 3;

let latest = null;
let receivedAt = 0;
let asking = false;

function ask() {
  const canvas = document.querySelector("canvas[data-wave]");
  if (!canvas || asking || document.hidden) return;
  asking = true;
  fetch("/feed/district?name=" + encodeURIComponent(canvas.dataset.wave), { cache: "no-store" })
    .then(function (answer) { return answer.json(); })
    .then(function (detail) {
      latest = detail;
      receivedAt = performance.now();
    })
    .catch(function () { /* the age tells */ })
    .then(function () {
      asking = false;
      show();
    });
}

function show() {
  const canvas = document.querySelector("canvas[data-wave]");
  if (!canvas || latest === null) return;
  const age = latest.age_s === null ? Infinity : latest.age_s + (performance.now() - receivedAt) / 1000;
  const stale = age > feed.staleAfterS;
  document.querySelector(".detail").dataset.old = String(stale);
  canvas.setAttribute("aria-label", stale ? "no wave: figures are stale" : "volts and amps of the last cycles");
  drawWave(canvas, latest, stale);
  showFigures(latest.figures);
  showPhasings(latest.phasings);
}

function showFigures(figures) {
  const list = document.querySelector("[data-figures]");
  if (!list) return;
  if (list.children.length !== figures.length * 2) {
    list.textContent = "";
    figures.forEach(function () { list.append(make("dt"), make("dd")); });
  }
  figures.forEach(function (figure, k) {
    list.children[2 * k].textContent = figure[0];
    list.children[2 * k + 1].textContent = figure[1] + (figure[2] ? " " + figure[2] : "");
  });
}

function showPhasings(phasings) {
  const place = document.querySelector("[data-phasing]");
  if (!place) return;
  const sentences = phasings.map(function (p) {
    return p.other + ": " + p.verdict.replace("-", " ") + ", " + p.difference_volts + " V between the live rails, " + p.degrees + "°.";
  });
  const cautions = Array.from(new Set(phasings.map(function (p) { return p.advice; }))).join("\n");
  feed.put(place.querySelector("[data-phases]"), sentences.join("\n") || "Nothing to compare with: one board has to measure two supplies.");
  feed.put(place.querySelector("[data-phase-advice]"), cautions);
  place.querySelector("details").hidden = cautions === "";
}

/* The first rise of the volts through zero: the picture stands still from one to the next. */
function firstRise(volts) {
  for (let k = 1; k < volts.length / 2; k++) if (volts[k - 1] < 0 && volts[k] >= 0) return k - volts[k] / (volts[k] - volts[k - 1]);
  return 0;
}

function drawWave(canvas, detail, stale) {
  const drawn = chart.sized(canvas);
  const wave = detail.wave;
  if (wave === null || stale) {
    chart.label(drawn.pen, wave === null ? "This board sends readings, no samples." : "No wave: the figures are stale.", 12, 12);
    return;
  }
  chart.rule(drawn.pen, [0, drawn.height / 2], [drawn.width, drawn.height / 2], chart.palette().line);
  const startS = firstRise(wave.volts) * wave.interval_s;
  const spanS = Math.min(CYCLES / detail.mains_hertz, wave.volts.length * wave.interval_s - startS);
  const frame = { startS: startS, spanS: spanS, intervalS: wave.interval_s };
  one(drawn, wave.amps, wave.amps_at_s - wave.volts_at_s, { colour: chart.palette().amps, unit: " A", least: 0.5, spare: 1.7, dashes: [7, 3] }, frame);
  one(drawn, wave.volts, 0, { colour: chart.palette().volts, unit: " V", least: 2, spare: 1.1, dashes: [] }, frame);
}

/* Amps stay inside the volts, so that neither hides the other. */
function one(drawn, values, laterS, look, frame) {
  const pen = drawn.pen;
  const most = values.reduce(function (high, value) { return Math.max(high, Math.abs(value)); }, look.least) * look.spare;
  const points = [];
  values.forEach(function (value, k) {
    const x = ((k * frame.intervalS + laterS - frame.startS) / frame.spanS) * drawn.width;
    const y = drawn.height / 2 - (value / most) * (drawn.height / 2 - 4);
    if (x > -20 && x < drawn.width + 20) points.push([x, y, y]);
  });
  if (!points.length) return;
  pen.setLineDash(look.dashes);
  chart.along(pen, points, look.colour, 2.25);
  pen.setLineDash([]);
  const text = "±" + most.toFixed(most < 10 ? 1 : 0) + look.unit;
  if (look.unit === " V") chart.label(pen, text, 4, 2, { colour: look.colour });
  else chart.label(pen, text, drawn.width - 4, 2, { colour: look.colour, align: "right" });
}

window.setInterval(ask, EVERY_MS);
document.addEventListener("pilotlamp:page", function () {
  latest = null;
  ask();
});
ask();
document.addEventListener("pilotlamp:age", function () { if (latest !== null && !feed.isConnected()) show(); });

/* Plots that the server gives as values: the moment of an event, and the last minutes of a district, which are asked for again. */
import { chart } from "./start.js";

const HISTORY_MS = 2000;
const LEFT = 52; // letters of the scales

function values(axis) { return axis.lines.flatMap(function (line) { return line.values.filter(function (v) { return v !== null; }); }); }

function scaleOf(axis) {
  const found = values(axis).map(Math.abs);
  const least = Math.max(axis.name === "volts" ? 5 : 0.5, (axis.usual || 0) * 1.05);
  // Volts have no spikes worth cutting; amps do.
  return axis.name === "volts" || axis.signed ? chart.niceTop(Math.max(least, found.length ? found.reduce(function (a, b) { return Math.max(a, b); }) : 0) * 1.02) : chart.usualTop(found, least);
}

function drawScale(drawn, axis, scale, y) {
  const pen = drawn.pen;
  const colours = chart.palette();
  const own = axis.name === "volts" ? colours.volts : colours.amps;
  for (const figure of axis.signed ? [-scale, 0, scale] : [0, scale / 2, scale]) {
    chart.rule(pen, [LEFT, y(figure)], [drawn.width, y(figure)], colours.line);
    const unit = figure === scale ? (axis.name === "volts" ? " V" : " A") : "";
    chart.label(pen, Number(figure.toFixed(2)) + unit, LEFT - 6, y(figure) - colours.size / 2, { align: "right", strong: unit !== "", colour: unit ? own : colours.quiet });
  }
  if (axis.usual) {
    for (const sign of axis.signed ? [1, -1] : [1]) chart.rule(pen, [LEFT, y(sign * axis.usual)], [drawn.width, y(sign * axis.usual)], colours.quiet, [5, 4]);
  }
}

function drawAxis(drawn, plot, axis, span) {
  const pen = drawn.pen;
  const colours = chart.palette();
  const scale = scaleOf(axis);
  const low = axis.signed ? -scale : 0;
  const y = function (value) { return span[1] - ((Math.min(Math.max(value, low), scale) - low) / (scale - low)) * (span[1] - span[0]); };
  drawScale(drawn, axis, scale, y);
  for (const line of axis.lines) {
    const colour = { volts: colours.volts, amps: colours.amps, low: colours.volts, high: colours.amps }[line.kind] || colours.quiet;
    const wide = line.kind === "volts" || line.kind === "amps" ? 2 : 1;
    const place = function (k) { return drawn.x(line.at[k]); };
    const pieces = chart.runs(line, 0, line.at.length, plot.hole, place, y);
    for (const piece of pieces) chart.along(pen, piece, colour, wide);
    if (plot.unit === "min" && pieces.length) chart.dot(pen, pieces[pieces.length - 1], colour);
  }
  const high = axis.lines.flatMap(function (line) { return line.values.map(function (value, k) { return [drawn.x(line.at[k]), value || 0]; }); });
  if (!axis.signed) for (const spike of chart.spikes(high, scale, 60)) chart.spikeMark(pen, spike[0], span[0], spike[1].toFixed(0) + (axis.name === "amps" ? " A" : " V"), drawn.width);
}

function drawTime(drawn, plot, bottom) {
  const step = chart.stepFor(plot.to - plot.from, (drawn.width - LEFT) / 90);
  for (let at = Math.ceil(plot.from / step) * step; at <= plot.to + 1e-9; at += step) {
    chart.rule(drawn.pen, [drawn.x(at), 18], [drawn.x(at), bottom], chart.palette().line);
    const figure = Number(at.toFixed(3));
    const text = plot.unit === "min" ? (figure === 0 ? "now" : -figure + " min ago") : figure + " s";
    chart.label(drawn.pen, text, Math.min(drawn.x(at), drawn.width - 26), bottom + 4, { align: "center" });
  }
}

function draw(canvas) {
  const plot = canvas.pilotlampPlot;
  if (!plot || canvas.clientWidth < 50) return;
  const drawn = chart.sized(canvas);
  const bottom = drawn.height - chart.palette().size - 8;
  drawn.x = function (at) { return LEFT + ((at - plot.from) / (plot.to - plot.from)) * (drawn.width - LEFT - 4); };
  if (plot.shade) {
    drawn.pen.fillStyle = chart.palette().fill;
    drawn.pen.fillRect(drawn.x(plot.shade[0]), 18, Math.max(2, drawn.x(plot.shade[1]) - drawn.x(plot.shade[0])), bottom - 18);
  }
  drawTime(drawn, plot, bottom);
  const axes = canvas.dataset.form === "waves" && plot.waves ? plot.waves : plot.axes;
  const half = (bottom - 18) / axes.length;
  axes.forEach(function (axis, k) { drawAxis(drawn, plot, axis, [18 + k * half + 4, 18 + (k + 1) * half - 12]); });
  let taken = -Infinity;
  for (const note of plot.notes || []) {
    const x = drawn.x(note[0]);
    chart.rule(drawn.pen, [x, 16], [x, bottom], chart.palette().quiet);
    const right = note[0] >= plot.to - 1e-6 || note[1] === "began" && x > 60;
    const width = drawn.pen.measureText(note[1]).width;
    const at = right ? x - 4 : Math.max(x + 4, taken + 8);
    chart.label(drawn.pen, note[1], at, 1, { align: right ? "right" : "left", colour: chart.palette().text });
    taken = right ? x : at + width;
  }
}

function all() { return document.querySelectorAll("canvas[data-plot], canvas[data-history]"); }

function fresh() {
  document.querySelectorAll("canvas[data-plot]").forEach(function (canvas) {
    if (canvas.pilotlampText === canvas.dataset.plot) return;
    canvas.pilotlampText = canvas.dataset.plot;
    canvas.pilotlampPlot = JSON.parse(canvas.dataset.plot);
    draw(canvas);
  });
}

function history() {
  const canvas = document.querySelector("canvas[data-history]");
  if (!canvas || document.hidden) return;
  fetch("/feed/history?name=" + encodeURIComponent(canvas.dataset.history), { cache: "no-store" })
    .then(function (answer) { return answer.ok ? answer.json() : null; })
    .then(function (plot) {
      if (plot) canvas.pilotlampPlot = plot;
      draw(canvas);
    })
    .catch(function () { /* what was drawn stays, and the age of the figures tells */ });
}

/* The course of RMS first; the waves for those who ask. */
document.addEventListener("click", function (click) {
  const button = click.target.closest("[data-plot-form]");
  if (!button) return;
  const panel = button.closest("section, .panel");
  panel.querySelectorAll("[data-plot-form]").forEach(function (each) { each.setAttribute("aria-pressed", String(each === button)); });
  panel.querySelectorAll("canvas[data-plot]").forEach(function (canvas) {
    canvas.dataset.form = button.dataset.plotForm;
    draw(canvas);
  });
});
new MutationObserver(fresh).observe(document.body, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-plot"] });
document.addEventListener("pilotlamp:colours", function () { all().forEach(draw); });
document.addEventListener("pilotlamp:page", history);
window.setInterval(history, HISTORY_MS);
fresh();
history();

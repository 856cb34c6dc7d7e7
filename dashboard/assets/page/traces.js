/* Traces of the last minute: volts above, amps below, drawn from buckets that the feed brings. */
import { chart, feed } from "./start.js";

const SHOWN = 300; // buckets of a fifth of a second
const RING = 512;
const NO_BUCKET = -(2 ** 31);
const SILENT = 5; // so many buckets without figures are a hole
const ROOMY = 9; // lines of letters: from here on there is room for the name of the limit
const TIMED = 4; // and from here on for a time axis
const SCALE = 3.6; // letters that the scales take at the left
const DRAWN_MS = 300; // a trace moves on by a pixel or two in this time

let rings = []; // per district
let last = -1; // number of the newest bucket
let bucketS = 0.2;

function makeRing() {
  return {
    // A minute that began before the stream has numbers below zero.
    numbers: new Int32Array(RING).fill(NO_BUCKET),
    volts: new Float32Array(RING),
    amps: new Float32Array(RING),
    peaks: new Float32Array(RING),
  };
}

function take(trace) {
  bucketS = trace.bucket_s;
  while (rings.length < trace.volts.length) rings.push(makeRing());
  for (let d = 0; d < trace.volts.length; d++) {
    const ring = rings[d];
    for (let k = 0; k < trace.volts[d].length; k++) {
      const number = trace.first + k;
      if (trace.amps[d][k] === null && trace.volts[d][k] === null) continue;
      const slot = ((number % RING) + RING) % RING;
      ring.numbers[slot] = number;
      for (const name of ["volts", "amps", "peaks"]) ring[name][slot] = trace[name][d][k] === null ? NaN : trace[name][d][k];
    }
  }
  if (trace.volts.length) last = Math.max(last, trace.first + trace.volts[0].length - 1);
}

function fetchMinute() {
  fetch("/feed/window" + feed.source, { cache: "no-store" })
    .then(function (answer) { return answer.json(); })
    .then(function (window_) {
      if (window_.run !== feed.run) return;
      take(window_.trace);
      drawAll();
    })
    .catch(function () { /* the next start or gap asks again */ });
}

/* The shown minute of one quantity, oldest first: numbers of buckets, and NaN where nothing came. */
function course(ring, values, first) {
  const at = [];
  const found = [];
  for (let number = first; number < first + SHOWN; number++) {
    const slot = ((number % RING) + RING) % RING;
    if (ring.numbers[slot] !== number || Number.isNaN(values[slot])) continue;
    at.push(number);
    found.push(values[slot]);
  }
  return { at: at, values: found };
}

function draw(canvas) {
  const ring = rings[Number(canvas.dataset.trace)];
  if (!ring || canvas.clientWidth < 20 || canvas.clientHeight < 20) return;
  const drawn = chart.sized(canvas);
  const letters = chart.palette().size;
  drawn.roomy = drawn.height >= ROOMY * letters;
  const timed = drawn.height >= TIMED * letters;
  drawn.left = Math.round(SCALE * letters);
  drawn.right = drawn.width - chart.DOT - 1;
  const bottom = drawn.height - (timed ? letters + 4 : 1);
  const parting = Math.round(bottom * 0.36);
  // "Now" goes on when nothing comes, so a silence is seen as an empty stretch at the right.
  const now = feed.payload ? Math.floor((feed.payload.now_s + Math.min(feed.sinceS(), 3600)) / bucketS) : last;
  const first = now - SHOWN + 1;
  drawn.x = function (number) { return drawn.left + ((number - first + 1) / SHOWN) * (drawn.right - drawn.left); };
  const volts = course(ring, ring.volts, first);
  drawSilence(drawn, volts, now, bottom);
  drawVolts(drawn, volts, 2, parting - 3, Number(canvas.dataset.volts));
  drawn.pen.fillStyle = chart.palette().line;
  drawn.pen.fillRect(drawn.left, parting, drawn.right - drawn.left, 1);
  drawAmps(drawn, course(ring, ring.amps, first), course(ring, ring.peaks, first), [parting + 3, bottom], Number(canvas.dataset.limit));
  if (timed) drawTime(drawn, bottom + 3);
}

function drawTime(drawn, y) {
  const letters = ["60 s ago", "40 s", "20 s", "now"];
  letters.forEach(function (text, k) {
    const x = drawn.left + ((drawn.right - drawn.left) * k) / (letters.length - 1);
    chart.label(drawn.pen, text, x, y, { align: k === letters.length - 1 ? "right" : "center" });
  });
}

/* Where nothing came for longer than a second, the ground is marked. */
function drawSilence(drawn, curve, now, bottom) {
  drawn.pen.fillStyle = chart.palette().ground;
  const at = curve.at.concat([now + 1]);
  for (let k = 1; k < at.length; k++) {
    if (at[k] - at[k - 1] > SILENT + 1) drawn.pen.fillRect(drawn.x(at[k - 1]), 0, drawn.x(at[k]) - drawn.x(at[k - 1]), bottom);
  }
}

function lines(drawn, curve, y) {
  return chart.runs(curve, 0, curve.at.length, SILENT, function (k) { return drawn.x(curve.at[k]); }, y);
}

function drawVolts(drawn, curve, top, bottom, most) {
  const highest = chart.niceTop(most * 1.1);
  const y = function (value) { return bottom - Math.min(value / highest, 1) * (bottom - top); };
  const pieces = lines(drawn, curve, y);
  for (const piece of pieces) chart.along(drawn.pen, piece, chart.palette().volts, 1.75);
  end(drawn, pieces, chart.palette().volts);
  scale(drawn, highest + " V", top - 2, chart.palette().volts);
}

/* Where a line is now. */
function end(drawn, pieces, colour) {
  const piece = pieces[pieces.length - 1];
  const isLate = piece && piece[piece.length - 1][0] < drawn.right - 2 * chart.DOT;
  if (piece && !isLate) chart.dot(drawn.pen, piece, colour);
}

function scale(drawn, text, y, colour) {
  chart.label(drawn.pen, text, drawn.left - 6, y, { align: "right", colour: colour, strong: true });
}

function drawAmps(drawn, amps, peaks, span, limit) {
  const pen = drawn.pen;
  const colours = chart.palette();
  const most = chart.usualTop(peaks.values, Math.max(0.5, amps.values.length ? Math.max.apply(null, amps.values) : 0));
  const y = function (value) { return span[1] - (Math.min(value, most) / most) * (span[1] - span[0]); };
  for (const piece of lines(drawn, peaks, y)) chart.under(pen, piece, span[1], colours.fill);
  const pieces = lines(drawn, amps, y);
  for (const piece of pieces) chart.along(pen, piece, colours.amps, 1.75);
  end(drawn, pieces, colours.amps);
  if (limit <= most) {
    chart.rule(pen, [drawn.left, y(limit)], [drawn.right, y(limit)], colours.limit, [5, 4]);
    const below = y(limit) + 2;
    if (drawn.roomy && below < span[1] - 2 * colours.size) chart.label(pen, "limit " + limit.toFixed(1).replace(".0", "") + " A", drawn.right, below, { align: "right", colour: colours.limit });
  }
  const high = peaks.values.map(function (value, k) { return [drawn.x(peaks.at[k]), value]; });
  for (const spike of chart.spikes(high, most, 40)) chart.spikeMark(pen, spike[0], span[0], spike[1].toFixed(0) + " A", drawn.width);
  scale(drawn, most + " A", span[0] - 2, colours.amps);
}

function drawAll() {
  document.querySelectorAll("canvas[data-trace]").forEach(draw);
}

let drawnAt = 0;
function begin() {
  rings = [];
  last = -1;
  fetchMinute();
}
document.addEventListener("pilotlamp:start", begin);
document.addEventListener("pilotlamp:tick", function (event) {
  const trace = event.detail.trace;
  if (!trace) return;
  const missed = last >= 0 && trace.first > last + 1;
  take(trace);
  if (missed) fetchMinute();
  const now = performance.now();
  if (document.hidden || now - drawnAt < DRAWN_MS) return;
  drawnAt = now;
  drawAll();
});
document.addEventListener("pilotlamp:age", function () { if (!feed.isConnected() && !document.hidden) drawAll(); });
document.addEventListener("pilotlamp:page", drawAll);
document.addEventListener("pilotlamp:colours", drawAll);
if (feed.payload) begin();

/* Traces of the last minute: volts above, amps below, drawn from buckets that the feed brings. */
import { chart, feed } from "./start.js";

const SHOWN = 300; // buckets of a fifth of a second
const RING = 512;
const NO_BUCKET = -(2 ** 31);
const SILENT = 5; // so many buckets without figures are a hole
const ROOMY = 9; // lines of letters: from here on there is room for names
const TIMED = 4.5; // and from here on for a time axis

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
  drawn.right = drawn.width - 1;
  const bottom = drawn.height - (timed ? letters + 4 : 1);
  const parting = Math.round(bottom * 0.36);
  // "Now" goes on when nothing comes, so a silence is seen as an empty stretch at the right.
  const now = feed.payload ? Math.floor((feed.payload.now_s + Math.min(feed.sinceS(), 3600)) / bucketS) : last;
  const first = now - SHOWN + 1;
  drawn.x = function (number) { return ((number - first + 1) / SHOWN) * drawn.right; };
  const volts = course(ring, ring.volts, first);
  drawSilence(drawn, volts, now, bottom);
  drawVolts(drawn, volts, 2, parting - 3, Number(canvas.dataset.volts));
  drawn.pen.fillStyle = chart.palette().line;
  drawn.pen.fillRect(0, parting, drawn.width, 1);
  drawAmps(drawn, course(ring, ring.amps, first), course(ring, ring.peaks, first), [parting + 3, bottom], Number(canvas.dataset.limit));
  if (timed) drawTime(drawn, bottom + 3);
}

function drawTime(drawn, y) {
  const letters = ["60 s ago", "40 s", "20 s", "now"];
  letters.forEach(function (text, k) {
    const x = (drawn.right * k) / (letters.length - 1);
    chart.label(drawn.pen, text, x, y, { align: k === 0 ? "left" : k === letters.length - 1 ? "right" : "center" });
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
  const scale = most * 1.1;
  const y = function (value) { return bottom - (Math.min(value, scale) / scale) * (bottom - top); };
  for (const piece of lines(drawn, curve, y)) chart.along(drawn.pen, piece, chart.palette().volts, 1.75);
  const low = Math.max(1, bottom - chart.palette().size - 1); // volts mostly run near the top
  chart.label(drawn.pen, drawn.roomy ? "volts, to " + most.toFixed(0) : most.toFixed(0) + " V", 2, low);
}

function drawAmps(drawn, amps, peaks, span, limit) {
  const pen = drawn.pen;
  const colours = chart.palette();
  const scale = chart.usualTop(peaks.values, Math.max(0.5, amps.values.length ? Math.max.apply(null, amps.values) : 0));
  const y = function (value) { return span[1] - (Math.min(value, scale) / scale) * (span[1] - span[0]); };
  for (const piece of lines(drawn, peaks, y)) chart.under(pen, piece, span[1], colours.fill);
  for (const piece of lines(drawn, amps, y)) chart.along(pen, piece, colours.amps, 1.75);
  if (limit <= scale) {
    chart.rule(pen, [0, y(limit)], [drawn.width, y(limit)], colours.limit, [5, 4]);
    const below = y(limit) + 2;
    if (drawn.roomy && below < span[1] - 2 * colours.size) chart.label(pen, "limit " + limit.toFixed(1).replace(".0", "") + " A", drawn.right, below, { align: "right", colour: colours.limit });
  }
  const high = peaks.values.map(function (value, k) { return [drawn.x(peaks.at[k]), value]; });
  for (const spike of chart.spikes(high, scale, 40)) chart.spikeMark(pen, spike[0], span[0], spike[1].toFixed(0) + " A", drawn.width);
  chart.label(pen, drawn.roomy ? "amps, to " + scale : scale + " A", 2, span[0]);
}

function drawAll() {
  document.querySelectorAll("canvas[data-trace]").forEach(draw);
}

let drawnBucket = -1;
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
  const bucket = Math.floor(event.detail.now_s / bucketS);
  if (bucket !== drawnBucket && !document.hidden) drawAll();
  drawnBucket = bucket;
});
document.addEventListener("pilotlamp:age", function () { if (!feed.isConnected() && !document.hidden) drawAll(); });
document.addEventListener("pilotlamp:page", drawAll);
document.addEventListener("pilotlamp:colours", drawAll);
if (feed.payload) begin();

/* The Review page's time line: volts and amps of every district of one session, from the whole of it down to single samples.
   The server sends what is to be seen at this width and no more; what is at hand already is drawn at once, stretched. */
import { chart } from "./start.js";

const LEAST_S = 0.02;
const SHOWN_S = 20; // from a moment that was asked for
const WAIT_MS = 70;
const SLOW_MS = 350;
const LEVEL = {
  rows: "lowest and highest of each fifth of a second",
  cycles: "RMS of each cycle, as the board told it",
  samples: "samples as they came over the wire",
};

/* One line of JSON, then 32-bit floats: times, volts, times, amps of each lane. */
function understood(buffer) {
  const bytes = new Uint8Array(buffer);
  const end = bytes.indexOf(10);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(0, end)));
  const numbers = new Float32Array(buffer.slice(end + 1));
  let at = 0;
  const take = function (count) { at += count; return numbers.subarray(at - count, at); };
  head.lanes = head.lanes.map(function (lane) {
    const volts = { at: take(lane.volts), values: take(lane.volts) };
    return { name: lane.name, volts: volts, amps: { at: take(lane.amps), values: take(lane.amps) } };
  });
  return head;
}

function Line(root) {
  this.root = root;
  this.id = root.dataset.review;
  this.canvas = root.querySelector("[data-lanes]");
  this.strip = root.querySelector("[data-overview]");
  this.said = root.querySelector("[data-range]");
  this.reading = root.querySelector("[data-reading]");
  this.marks = null;
  this.view = null;
  this.near = null; // what came last for the view
  this.whole = null;
  this.cursor = null;
  this.pointers = new Map();
  this.drag = null;
  this.timer = 0;
  this.asking = null;
  this.trouble = "";
  this.listen(); // review_hands.js
  this.begin();
}

Line.prototype.begin = function () {
  const line = this;
  this.said.textContent = "Opening …";
  this.learn()
    .then(function (marks) {
      const place = document.querySelector("#review-main");
      const at = Number(place && place.dataset.at);
      if (place && place.dataset.at && at >= marks.first_s && at <= marks.last_s) line.show(at, Math.min(at + SHOWN_S, marks.last_s));
      else line.go(marks.first_s, marks.last_s);
    })
    .catch(function (error) { line.said.textContent = error.message || "pilotlamp did not answer. Is it still running?"; });
};

/* What there is to be drawn besides the courses. */
Line.prototype.learn = function () {
  const line = this;
  return fetch("/review/marks?session=" + encodeURIComponent(this.id), { cache: "no-store" })
    .then(function (answer) {
      if (!answer.ok) throw new Error("This session cannot be opened.");
      return answer.json();
    })
    .then(function (marks) {
      line.marks = marks;
      marks.stops = marks.events.filter(function (e) { return e[3]; }).map(function (e) { return [e[1], e[2], e[5]]; })
        .concat(marks.warnings.map(function (w) { return [w[1], w[2], null]; }))
        .sort(function (a, b) { return a[0] - b[0]; });
      return marks;
    });
};

/* The session grew: what reached to its end goes along with it. Says whether it is over. */
Line.prototype.renew = function () {
  const line = this;
  const before = this.marks;
  return this.learn().then(function (marks) {
    const view = line.view;
    if (!view || line.drag) return !marks.recording;
    const follows = view.to >= before.last_s - 0.5;
    const isWhole = follows && view.from <= before.first_s;
    const by = follows ? marks.last_s - before.last_s : 0;
    if (isWhole) line.whole = null;
    line.go(isWhole ? marks.first_s : view.from + by, view.to + by, true);
    return !marks.recording;
  });
};

/* While fingers move, the server is asked when they rest; else at once. */
Line.prototype.go = function (from, to, moving) {
  const marks = this.marks;
  if (!marks) return;
  const span = Math.min(Math.max(to - from, LEAST_S), marks.last_s - marks.first_s);
  const middle = (from + to) / 2;
  const start = Math.min(Math.max(middle - span / 2, marks.first_s), marks.last_s - span);
  this.view = { from: start, to: start + span };
  window.clearTimeout(this.timer);
  if (moving) this.timer = window.setTimeout(this.ask.bind(this), WAIT_MS);
  else this.ask();
  this.draw();
};

Line.prototype.ask = function () {
  const line = this;
  if (this.asking) this.asking.abort();
  const asking = new AbortController();
  this.asking = asking;
  const view = this.view;
  const points = Math.round(Math.min(3000, this.canvas.clientWidth * 1.4));
  const slow = window.setTimeout(function () { line.say(true); }, SLOW_MS);
  const query = "session=" + encodeURIComponent(this.id) + "&from=" + view.from + "&to=" + view.to + "&points=" + points;
  fetch("/review/stretch?" + query, { signal: asking.signal })
    .then(function (answer) {
      if (!answer.ok) throw new Error("This stretch cannot be shown.");
      return answer.arrayBuffer();
    })
    .then(function (buffer) {
      line.near = understood(buffer);
      if (!line.whole) line.whole = line.near;
      line.trouble = "";
      line.draw();
      line.root.dataset.shown = line.near.level;
    })
    .catch(function (error) {
      if (error.name === "AbortError") return;
      line.trouble = error.message && error.message.indexOf("stretch") > 0 ? error.message : "pilotlamp did not answer. Is it still running?";
      line.say(false);
    })
    .then(function () { window.clearTimeout(slow); });
};

Line.prototype.say = function (looking) {
  const view = this.view;
  const zero = this.marks.first_s;
  const decimals = chart.decimalsFor(view.to - view.from);
  const level = looking ? "looking closer …" : this.near ? LEVEL[this.near.level] : "";
  const of = this.marks.clock_s;
  const closer = this.marks.recording && view.to - view.from < 60 ? "; closer once it is over" : "";
  this.said.textContent = this.trouble || chart.clock(view.from - zero, decimals) + " to " + chart.clock(view.to - zero, decimals) +
    " of the session (" + chart.clock((of + view.from) % 86400, 0) + " by the clock): " + level + closer;
};

Line.prototype.x = function (at, width) { return ((at - this.view.from) / (this.view.to - this.view.from)) * width; };
Line.prototype.at = function (x) { return this.view.from + (x / this.canvas.clientWidth) * (this.view.to - this.view.from); };

Line.LEAST_S = LEAST_S;
export { Line };

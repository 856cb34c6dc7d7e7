/* Drawing of the Review page's time line: lanes of volts and amps, warnings, stalls, remarks, the reading line. */
import { Line } from "./review.js";
import { chart } from "./start.js";

const STRIP = 46; // warnings and remarks above the lanes
const AXIS = 22;
const OVERVIEW = 24;
const LANE_LEAST = 64;
const LANE_MOST = 132;

/* Drawing: once a frame, however often it is asked for. */
Line.prototype.draw = function () {
  if (this.waits || !this.view) return;
  this.waits = true;
  const line = this;
  window.requestAnimationFrame(function () {
    line.waits = false;
    if (line.root.isConnected) line.drawNow();
  });
};

Line.prototype.drawNow = function () {
  const lanes = this.marks.lanes.length;
  const room = Math.max(200, window.innerHeight - 260);
  this.lane = Math.min(LANE_MOST, Math.max(LANE_LEAST, Math.floor((room - STRIP - AXIS) / Math.max(1, lanes))));
  const drawn = chart.sized(this.canvas, STRIP + lanes * this.lane + AXIS);
  this.drawAxis(drawn);
  for (let k = 0; k < lanes; k++) this.drawLane(drawn, k, STRIP + k * this.lane);
  this.drawStrip(drawn);
  this.drawCursor(drawn);
  this.drawOverview();
  this.say(false);
};

Line.prototype.drawAxis = function (drawn) {
  const span = this.view.to - this.view.from;
  const step = chart.stepFor(span, drawn.width / 110);
  const zero = this.marks.first_s;
  const pen = drawn.pen;
  const decimals = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0;
  pen.strokeStyle = chart.palette().line;
  pen.fillStyle = chart.palette().quiet;
  pen.textBaseline = "alphabetic";
  pen.lineWidth = 1;
  for (let at = Math.ceil((this.view.from - zero) / step) * step; at <= this.view.to - zero + 1e-9; at += step) {
    const x = Math.round(this.x(at + zero, drawn.width)) + 0.5;
    pen.beginPath();
    pen.moveTo(x, STRIP);
    pen.lineTo(x, drawn.height - AXIS);
    pen.stroke();
    const text = chart.clock(at, decimals);
    const half = pen.measureText(text).width / 2;
    pen.fillText(text, Math.min(Math.max(0, x - half), drawn.width - 2 * half), drawn.height - 6);
  }
};

Line.prototype.drawLane = function (drawn, k, top) {
  const pen = drawn.pen;
  const middle = top + Math.round(this.lane * 0.42);
  const bottom = top + this.lane - 9;
  const data = this.data();
  pen.strokeStyle = chart.palette().line;
  pen.strokeRect(-1, top + 0.5, drawn.width + 2, this.lane);
  const lane = data && data.lanes[k];
  if (lane && lane.volts.at.length + lane.amps.at.length) {
    this.drawCurve(drawn, lane.amps, middle + 4, bottom, { colour: chart.palette().amps, fill: chart.palette().fill, unit: " A", least: 0.5 }, data);
    this.drawCurve(drawn, lane.volts, top + 16, middle, { colour: chart.palette().volts, fill: null, unit: " V", least: 5 }, data);
  } else if (data) {
    chart.label(pen, "nothing was measured", 6, middle - 6);
  }
  this.drawEvents(drawn, k, bottom + 2);
  chart.label(pen, this.marks.lanes[k], 5, top + 3, { colour: chart.palette().text, strong: true });
};

/* What came for this very view, or what is nearest to it. */
Line.prototype.data = function () {
  const near = this.near;
  if (near && near.from_s <= this.view.to && near.to_s >= this.view.from && near.from_s <= this.view.from + 1e-3 && near.to_s >= this.view.to - 1e-3) {
    return near;
  }
  return this.whole || near;
};

Line.prototype.drawCurve = function (drawn, curve, top, bottom, look, data) {
  const view = this.view;
  const shift = data.from_s;
  const first = Math.max(0, chart.firstAfter(curve.at, view.from - shift) - 1);
  const last = Math.min(curve.at.length, chart.firstAfter(curve.at, view.to - shift) + 1);
  const both = data.level === "samples";
  const shown = curve.values.subarray(first, last);
  const highest = function () { return chart.niceTop(Math.max(look.least, shown.reduce(function (most, value) { return Math.max(most, Math.abs(value)); }, 0)) * 1.02); };
  const scale = both || !look.fill ? highest() : chart.usualTop(shown, look.least);
  const y = both
    ? function (value) { return (top + bottom) / 2 - (value / scale) * (bottom - top) / 2; }
    : function (value) { return bottom - (Math.min(Math.max(0, value), scale) / scale) * (bottom - top); };
  const hole = Math.max(data.level === "samples" ? 0.01 : data.level === "cycles" ? 0.45 : 1, 3 * (data.to_s - data.from_s) / Math.max(50, curve.at.length));
  const pen = drawn.pen;
  const line = this;
  const place = function (k) { return line.x(curve.at[k] + shift, drawn.width); };
  const pieces = last - first > drawn.width
    ? chart.columns(curve, first, last, place, y, drawn.width)
    : chart.runs(curve, first, last, hole, place, y);
  if (look.fill && !both) {
    for (const piece of pieces) chart.under(pen, piece, bottom, look.fill);
  }
  for (const piece of pieces) chart.along(pen, piece, look.colour, 1.25);
  if (!both && look.fill) this.drawSpikes(drawn, curve, [first, last], scale, top, shift);
  chart.label(pen, (both ? "±" : "to ") + scale + look.unit, drawn.width - 5, top - (look.fill ? 1 : 13), { align: "right" });
};

Line.prototype.drawEvents = function (drawn, lane, y) {
  const pen = drawn.pen;
  const view = this.view;
  let free = -Infinity;
  for (const event of this.marks.events) {
    if (event[0] !== lane || event[2] < view.from || event[1] > view.to) continue;
    const from = this.x(event[1], drawn.width);
    const to = Math.max(from + 2, this.x(event[2], drawn.width));
    if (event[3]) {
      pen.fillStyle = chart.palette().fault;
      pen.fillRect(from, y + 2, to - from, 4);
      pen.beginPath();
      pen.moveTo(from, y - 5);
      pen.lineTo(from - 4, y + 3);
      pen.lineTo(from + 4, y + 3);
      pen.fill();
    } else {
      pen.strokeStyle = chart.palette().quiet;
      pen.lineWidth = 1;
      pen.strokeRect(from + 0.5, y + 2.5, Math.max(3, to - from), 3);
    }
    const at = Math.max(2, from + 5);
    if (at > free && (to - from > 60 || view.to - view.from < 30)) {
      chart.label(pen, event[4], at, y - 14);
      free = at + pen.measureText(event[4]).width + 6;
    }
  }
};

Line.prototype.drawStrip = function (drawn) {
  const pen = drawn.pen;
  const view = this.view;
  for (const warning of this.marks.warnings) {
    if (warning[2] < view.from || warning[1] > view.to) continue;
    const from = Math.max(-2, this.x(warning[1], drawn.width));
    const to = Math.min(drawn.width + 2, Math.max(from + 3, this.x(warning[2], drawn.width)));
    const height = 3 + 4 * warning[0];
    pen.fillStyle = chart.palette().levels[warning[0]];
    pen.globalAlpha = 0.85;
    pen.fillRect(from, STRIP - 3 - height, to - from, height);
    pen.globalAlpha = 1;
  }
  let free = -Infinity;
  for (const mark of this.marks.marks) {
    if (mark[0] < view.from || mark[0] > view.to) continue;
    const x = Math.round(this.x(mark[0], drawn.width)) + 0.5;
    pen.strokeStyle = chart.palette().text;
    pen.setLineDash([3, 4]);
    pen.beginPath();
    pen.moveTo(x, 4);
    pen.lineTo(x, drawn.height - AXIS);
    pen.stroke();
    pen.setLineDash([]);
    const text = mark[1].length > 40 ? mark[1].slice(0, 39) + "…" : mark[1];
    const width = pen.measureText(text).width;
    const at = Math.min(x + 4, drawn.width - width - 2);
    if (at > free) {
      chart.label(pen, text, at, 4, { colour: chart.palette().text });
      free = at + width;
    }
  }
  chart.label(pen, this.marks.warnings.length ? "warnings" : "no warnings", 5, STRIP - 30);
};

Line.prototype.drawCursor = function (drawn) {
  const pen = drawn.pen;
  if (this.drag && this.drag.selects) {
    pen.fillStyle = chart.palette().fill;
    pen.fillRect(Math.min(this.drag.x, this.drag.now), STRIP, Math.abs(this.drag.now - this.drag.x), drawn.height - STRIP - AXIS);
  }
  if (this.cursor === null || this.cursor < this.view.from || this.cursor > this.view.to) return;
  const x = Math.round(this.x(this.cursor, drawn.width)) + 0.5;
  pen.strokeStyle = chart.palette().text;
  pen.lineWidth = 1;
  pen.beginPath();
  pen.moveTo(x, STRIP);
  pen.lineTo(x, drawn.height - AXIS);
  pen.stroke();
};

Line.prototype.drawOverview = function () {
  const drawn = chart.sized(this.strip, OVERVIEW);
  const pen = drawn.pen;
  const marks = this.marks;
  const span = marks.last_s - marks.first_s;
  const x = function (at) { return ((at - marks.first_s) / span) * drawn.width; };
  pen.fillStyle = chart.palette().ground;
  pen.fillRect(0, 0, drawn.width, OVERVIEW);
  pen.fillStyle = chart.palette().fault;
  for (const event of marks.events) if (event[3]) pen.fillRect(x(event[1]), OVERVIEW - 10, Math.max(1.5, x(event[2]) - x(event[1])), 6);
  pen.strokeStyle = chart.palette().text;
  pen.lineWidth = 2;
  const from = x(this.view.from);
  pen.strokeRect(from + 1, 1, Math.max(4, x(this.view.to) - from) - 2, OVERVIEW - 2);
};

/* What goes beyond a scale made for the usual is marked with its figure; near the right end, where the scale stands, left of the mark. */
Line.prototype.drawSpikes = function (drawn, curve, part, scale, top, shift) {
  const high = [];
  for (let k = part[0]; k < part[1]; k++) if (curve.values[k] > scale) high.push([this.x(curve.at[k] + shift, drawn.width), curve.values[k]]);
  for (const spike of chart.spikes(high, scale, 56)) chart.spikeMark(drawn.pen, spike[0], top, spike[1].toFixed(0) + " A", drawn.width - 60);
};

/* Moving along the Review page's time line and reading figures off it: keys, mouse, fingers. */
import { Line } from "./review.js";
import { chart, make } from "./start.js";


/* Reading off */
Line.prototype.read = function (at) {
  this.cursor = Math.min(Math.max(at, this.marks.first_s), this.marks.last_s);
  const data = this.data();
  if (!data) return;
  const decimals = Math.max(1, chart.decimalsFor(this.view.to - this.view.from));
  const said = [];
  const cursor = this.cursor;
  const span = this.view.to - this.view.from;
  data.lanes.forEach(function (lane) {
    const volts = around(lane.volts, cursor - data.from_s, span, data.level);
    const amps = around(lane.amps, cursor - data.from_s, span, data.level);
    said.push([lane.name, volts === null && amps === null ? "–" : shown(volts) + " V, " + shown(amps) + " A"]);
  });
  const head = make("strong", "", chart.clock(cursor - this.marks.first_s, decimals));
  this.reading.replaceChildren(head, ...said.map(function (pair) {
    const one = make("span");
    one.append(make("i", "", pair[0]), " " + pair[1]);
    return one;
  }));
  this.draw();
};

/* Lowest and highest near a moment, or the one value there. */
function around(curve, at, span, level) {
  const reach = level === "rows" ? Math.max(0.15, span / 800) : level === "cycles" ? 0.06 : 0.0006;
  const first = chart.firstAfter(curve.at, at - reach);
  let low = Infinity;
  let high = -Infinity;
  for (let k = first; k < curve.at.length && curve.at[k] <= at + reach; k++) {
    low = Math.min(low, curve.values[k]);
    high = Math.max(high, curve.values[k]);
  }
  return high < low ? null : [low, high];
}

function shown(pair) {
  if (pair === null) return "–";
  const low = pair[0].toFixed(Math.abs(pair[1]) < 10 ? 2 : 1);
  const high = pair[1].toFixed(Math.abs(pair[1]) < 10 ? 2 : 1);
  return low === high ? high : low + "–" + high;
}

/* Moving */
Line.prototype.scaled = function (factor, about, moving) {
  const view = this.view;
  const point = about === undefined ? (this.cursor !== null && this.cursor > view.from && this.cursor < view.to ? this.cursor : (view.from + view.to) / 2) : about;
  const span = Math.max(Line.LEAST_S, (view.to - view.from) * factor);
  const share = (point - view.from) / (view.to - view.from);
  this.go(point - share * span, point + (1 - share) * span, moving);
};

Line.prototype.shifted = function (share) {
  const by = (this.view.to - this.view.from) * share;
  this.go(this.view.from + by, this.view.to + by);
};

Line.prototype.show = function (from, to) {
  const length = Math.max(0, to - from);
  const before = Math.max(0.4, Math.min(length, 3600) * 0.3);
  this.cursor = from;
  this.go(from - before, Math.min(to, from + 3600) + Math.max(0.4, before));
};

Line.prototype.hop = function (forward) {
  const from = this.cursor === null ? (forward ? this.marks.first_s - 1 : this.view.to) : this.cursor;
  const stops = this.marks.stops;
  const next = forward
    ? stops.find(function (stop) { return stop[0] > from + 1e-6; })
    : stops.filter(function (stop) { return stop[0] < from - 1e-6; }).pop();
  if (next) {
    this.show(next[0], next[1]);
    this.read(next[0]);
    this.chosen(next[2]);
  } else {
    this.said.textContent = forward ? "There is none after this." : "There is none before this.";
  }
};

/* Tells the page which event was gone to; null for a warning. */
Line.prototype.chosen = function (event) {
  this.root.dispatchEvent(new CustomEvent("pilotlamp:event", { bubbles: true, detail: { session: this.id, event: event } }));
};

Line.prototype.move = function (does) {
  if (!this.view) return;
  if (does === "whole") {
    this.cursor = null;
    this.reading.textContent = "";
    this.go(this.marks.first_s, this.marks.last_s);
  }
  if (does === "in") this.scaled(0.4);
  else if (does === "out") this.scaled(2.5);
  else if (does === "back") this.shifted(-0.5);
  else if (does === "on") this.shifted(0.5);
  else if (does === "next") this.hop(true);
  else if (does === "previous") this.hop(false);
};

const KEYS = {
  ArrowLeft: "back", ArrowRight: "on", "+": "in", "=": "in", ArrowUp: "in", "-": "out", ArrowDown: "out", Home: "whole", "0": "whole",
  n: "next", N: "next", p: "previous", P: "previous",
};

Line.prototype.key = function (press) {
  if (press.ctrlKey || press.metaKey || press.altKey || !this.view) return;
  const view = this.view;
  if (press.key === "," || press.key === ".") {
    const from = this.cursor === null || this.cursor < view.from || this.cursor > view.to ? (view.from + view.to) / 2 : this.cursor;
    this.read(from + ((view.to - view.from) / 100) * (press.key === "." ? 1 : -1));
  } else if (KEYS[press.key]) {
    this.move(KEYS[press.key]);
  } else {
    return;
  }
  press.preventDefault();
};

Line.prototype.listen = function () {
  const line = this;
  const canvas = this.canvas;
  const place = function (event) { return event.clientX - canvas.getBoundingClientRect().left; };
  canvas.addEventListener("keydown", this.key.bind(this));
  canvas.addEventListener("pointerdown", function (event) {
    if (!line.view || event.button > 0) return;
    line.pointers.set(event.pointerId, place(event));
    if (event.pointerType === "mouse") canvas.setPointerCapture(event.pointerId);
    line.drag = { x: place(event), now: place(event), selects: false, touch: event.pointerType !== "mouse", view: line.view, moved: false };
  });
  canvas.addEventListener("pointermove", function (event) {
    if (!line.view) return;
    const x = place(event);
    if (line.pointers.has(event.pointerId)) line.pointers.set(event.pointerId, x);
    if (line.pointers.size === 2 && line.drag) line.pinch();
    else if (line.drag && line.pointers.size === 1) line.dragged(x);
    else if (event.pointerType === "mouse") line.read(line.at(x));
  });
  const ends = function (event) {
    if (!line.pointers.delete(event.pointerId) || !line.drag) return;
    const drag = line.drag;
    line.drag = null;
    if (event.type === "pointercancel") return;
    if (drag.selects) line.go(line.at(Math.min(drag.x, drag.now)), line.at(Math.max(drag.x, drag.now)));
    else if (!drag.moved) line.read(line.at(place(event)));
  };
  canvas.addEventListener("pointerup", ends);
  canvas.addEventListener("pointercancel", ends);
  canvas.addEventListener("dblclick", function (event) { line.scaled(0.25, line.at(place(event))); });
  canvas.addEventListener("wheel", function (event) {
    if (!line.view || !(event.ctrlKey || event.shiftKey)) return; // plain turning scrolls the page
    event.preventDefault();
    line.scaled(Math.pow(1.25, Math.sign(event.deltaY || event.deltaX)), line.at(place(event)), true);
  }, { passive: false });
  this.strip.addEventListener("pointerdown", function (event) {
    if (!line.view) return;
    const box = line.strip.getBoundingClientRect();
    const at = line.marks.first_s + ((event.clientX - box.left) / box.width) * (line.marks.last_s - line.marks.first_s);
    const half = (line.view.to - line.view.from) / 2;
    line.go(at - half, at + half);
  });
  this.root.addEventListener("click", function (event) {
    const button = event.target.closest("[data-move]");
    if (button) line.move(button.dataset.move);
  });
};

Line.prototype.dragged = function (x) {
  const drag = this.drag;
  drag.now = x;
  if (Math.abs(x - drag.x) < 6 && !drag.moved) return;
  drag.moved = true;
  if (!drag.touch) {
    drag.selects = true;
    this.draw();
    return;
  }
  const by = ((drag.x - x) / this.canvas.clientWidth) * (drag.view.to - drag.view.from);
  this.go(drag.view.from + by, drag.view.to + by, true);
};

Line.prototype.pinch = function () {
  const places = Array.from(this.pointers.values());
  const apart = Math.max(10, Math.abs(places[0] - places[1]));
  const middle = (places[0] + places[1]) / 2;
  const drag = this.drag;
  if (!drag.apart) {
    drag.apart = apart;
    drag.about = this.at(middle);
    drag.view = this.view;
    drag.moved = true;
    return;
  }
  const span = Math.max(Line.LEAST_S, ((drag.view.to - drag.view.from) * drag.apart) / apart);
  const share = middle / this.canvas.clientWidth;
  this.go(drag.about - share * span, drag.about + (1 - share) * span, true);
};

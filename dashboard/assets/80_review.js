/* The Review page's time line: volts and amps of every district of one session, from the whole of it down to single samples.
   The server sends what is to be seen at this width and no more; what is at hand already is drawn at once, stretched. */
(function () {
  "use strict";

  const STRIP = 46; // warnings and remarks above the lanes
  const AXIS = 22;
  const LANE_LEAST = 64;
  const LANE_MOST = 132;
  const LEAST_S = 0.02;
  const COLUMN = 1.5; // pixels
  const WAIT_MS = 70;
  const SLOW_MS = 350;
  const NICE = [0.1, 0.2, 0.5, 1, 2, 3, 5, 8, 10, 15, 20, 30, 50, 100, 200, 500];
  const STEPS = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400];
  const LEVEL = {
    rows: "lowest and highest of each fifth of a second",
    cycles: "RMS of each cycle, as the board told it",
    samples: "samples as they came over the wire",
  };

  let colours = null;

  function palette() {
    if (colours) return colours;
    const style = getComputedStyle(document.documentElement);
    const of = function (name) { return style.getPropertyValue(name).trim(); };
    colours = {
      panel: of("--panel"), text: of("--text"), quiet: of("--quiet"), line: of("--line"), ground: of("--void"), volts: of("--volts"), amps: of("--amps"),
      fill: of("--amps-fill"), levels: ["", of("--low"), of("--medium"), of("--high")], fault: of("--medium"),
    };
    return colours;
  }

  function pad(number) { return String(number).padStart(2, "0"); }

  function clock(seconds, decimals) {
    const whole = Math.floor(seconds + 1e-9);
    const rest = decimals ? (seconds - whole).toFixed(decimals).slice(1) : "";
    return Math.floor(whole / 3600) + ":" + pad(Math.floor(whole / 60) % 60) + ":" + pad(whole % 60) + rest;
  }

  function decimalsFor(span) { return span < 0.5 ? 3 : span < 5 ? 2 : span < 60 ? 1 : 0; }

  function nice(value) {
    for (const step of NICE) if (step >= value) return step;
    return value;
  }

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

  function sized(canvas, height) {
    const width = Math.max(50, canvas.clientWidth);
    const ratio = window.devicePixelRatio || 1;
    canvas.style.height = height + "px";
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.font = "12px system-ui, sans-serif";
    return { pen: pen, width: width, height: height };
  }

  function firstAfter(sorted, value) {
    let low = 0;
    let high = sorted.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (sorted[middle] < value) low = middle + 1;
      else high = middle;
    }
    return low;
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
    this.listen();
    this.begin();
  }

  Line.prototype.begin = function () {
    const line = this;
    this.said.textContent = "Opening …";
    this.learn()
      .then(function (marks) { line.go(marks.first_s, marks.last_s); })
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
    const decimals = decimalsFor(view.to - view.from);
    const level = looking ? "looking closer …" : this.near ? LEVEL[this.near.level] : "";
    const of = this.marks.clock_s;
    const closer = this.marks.recording && view.to - view.from < 60 ? "; closer once it is over" : "";
    this.said.textContent = this.trouble || clock(view.from - zero, decimals) + " to " + clock(view.to - zero, decimals) +
      " of the session (" + clock((of + view.from) % 86400, 0) + " by the clock): " + level + closer;
  };

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
    const drawn = sized(this.canvas, STRIP + lanes * this.lane + AXIS);
    this.drawAxis(drawn);
    for (let k = 0; k < lanes; k++) this.drawLane(drawn, k, STRIP + k * this.lane);
    this.drawStrip(drawn);
    this.drawCursor(drawn);
    this.drawOverview();
    this.say(false);
  };

  Line.prototype.x = function (at, width) { return ((at - this.view.from) / (this.view.to - this.view.from)) * width; };
  Line.prototype.at = function (x) { return this.view.from + (x / this.canvas.clientWidth) * (this.view.to - this.view.from); };

  Line.prototype.drawAxis = function (drawn) {
    const span = this.view.to - this.view.from;
    const wanted = span / Math.max(2, drawn.width / 110);
    const step = STEPS.find(function (each) { return each >= wanted; }) || 28800;
    const zero = this.marks.first_s;
    const pen = drawn.pen;
    const decimals = step < 0.01 ? 3 : step < 0.1 ? 2 : step < 1 ? 1 : 0;
    pen.strokeStyle = palette().line;
    pen.fillStyle = palette().quiet;
    pen.textBaseline = "alphabetic";
    pen.lineWidth = 1;
    for (let at = Math.ceil((this.view.from - zero) / step) * step; at <= this.view.to - zero + 1e-9; at += step) {
      const x = Math.round(this.x(at + zero, drawn.width)) + 0.5;
      pen.beginPath();
      pen.moveTo(x, STRIP);
      pen.lineTo(x, drawn.height - AXIS);
      pen.stroke();
      const text = clock(at, decimals);
      const half = pen.measureText(text).width / 2;
      pen.fillText(text, Math.min(Math.max(0, x - half), drawn.width - 2 * half), drawn.height - 6);
    }
  };

  Line.prototype.drawLane = function (drawn, k, top) {
    const pen = drawn.pen;
    const middle = top + Math.round(this.lane * 0.42);
    const bottom = top + this.lane - 9;
    const data = this.data();
    pen.strokeStyle = palette().line;
    pen.strokeRect(-1, top + 0.5, drawn.width + 2, this.lane);
    const lane = data && data.lanes[k];
    if (lane && lane.volts.at.length + lane.amps.at.length) {
      this.drawCurve(drawn, lane.amps, middle + 4, bottom, { colour: palette().amps, fill: palette().fill, unit: " A", least: 0.5 }, data);
      this.drawCurve(drawn, lane.volts, top + 16, middle, { colour: palette().volts, fill: null, unit: " V", least: 5 }, data);
    } else if (data) {
      this.label(pen, "nothing was measured", 6, middle - 6, palette().quiet);
    }
    this.drawEvents(drawn, k, bottom + 2);
    this.label(pen, this.marks.lanes[k], 5, top + 3, palette().text, true);
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
    const first = Math.max(0, firstAfter(curve.at, view.from - shift) - 1);
    const last = Math.min(curve.at.length, firstAfter(curve.at, view.to - shift) + 1);
    let most = look.least;
    for (let k = first; k < last; k++) most = Math.max(most, Math.abs(curve.values[k]));
    const scale = nice(most * 1.02);
    const both = data.level === "samples";
    const y = both
      ? function (value) { return (top + bottom) / 2 - (value / scale) * (bottom - top) / 2; }
      : function (value) { return bottom - (Math.max(0, value) / scale) * (bottom - top); };
    const hole = Math.max(data.level === "samples" ? 0.01 : data.level === "cycles" ? 0.45 : 1, 3 * (data.to_s - data.from_s) / Math.max(50, curve.at.length));
    const pen = drawn.pen;
    const line = this;
    const place = function (k) { return line.x(curve.at[k] + shift, drawn.width); };
    const pieces = last - first > drawn.width
      ? columns(curve, first, last, place, y, drawn.width)
      : runs(curve, first, last, hole, place, y);
    if (look.fill && !both) {
      pen.fillStyle = look.fill;
      for (const piece of pieces) under(pen, piece, bottom);
    }
    pen.strokeStyle = look.colour;
    pen.fillStyle = look.colour;
    pen.lineWidth = 1.25;
    for (const piece of pieces) along(pen, piece);
    this.label(pen, (both ? "±" : "") + scale + look.unit, drawn.width - 5, top - (look.fill ? 1 : 13), palette().quiet, false, "right");
  };

  /* Few points: one line from hole to hole; [x, y, y] of each point. */
  function runs(curve, first, last, hole, place, y) {
    const pieces = [];
    let piece = null;
    for (let k = first; k < last; k++) {
      if (piece === null || curve.at[k] - curve.at[k - 1] > hole) pieces.push(piece = []);
      const height = y(curve.values[k]);
      piece.push([place(k), height, height]);
    }
    return pieces;
  }

  /* Many points: of each pixel's column the highest and the lowest; a band is drawn far quicker than a line that goes to and fro. */
  function columns(curve, first, last, place, y, width) {
    const pieces = [];
    let piece = null;
    let column = null;
    for (let k = first; k < last; k++) {
      const x = Math.floor(place(k) / COLUMN) * COLUMN;
      if (x < -COLUMN || x > width) continue;
      const height = y(curve.values[k]);
      if (column === null || x !== column[0]) {
        if (piece === null || x - column[0] > 8) pieces.push(piece = []);
        column = [x, height, height];
        piece.push(column);
      }
      column[1] = Math.min(column[1], height);
      column[2] = Math.max(column[2], height);
    }
    return pieces;
  }

  function under(pen, piece, bottom) {
    pen.beginPath();
    pen.moveTo(piece[0][0], bottom);
    for (const point of piece) pen.lineTo(point[0], point[1]);
    pen.lineTo(piece[piece.length - 1][0], bottom);
    pen.fill();
  }

  function along(pen, piece) {
    pen.beginPath();
    if (piece.every(function (point) { return point[1] === point[2]; })) {
      for (const point of piece) pen.lineTo(point[0], point[1]);
      pen.stroke();
      return;
    }
    for (const point of piece) pen.lineTo(point[0], point[1] - 0.7);
    for (let k = piece.length - 1; k >= 0; k--) pen.lineTo(piece[k][0] + 0.5, piece[k][2] + 0.7);
    pen.fill();
  }

  Line.prototype.label = function (pen, text, x, y, colour, strong, align) {
    pen.font = (strong ? "600 " : "") + "12px system-ui, sans-serif";
    pen.textBaseline = "top";
    pen.textAlign = align || "left";
    const width = pen.measureText(text).width;
    pen.globalAlpha = 0.72;
    pen.fillStyle = palette().panel;
    pen.fillRect(align === "right" ? x - width - 2 : x - 2, y - 1, width + 4, 14);
    pen.globalAlpha = 1;
    pen.fillStyle = colour;
    pen.fillText(text, x, y);
    pen.textAlign = "left";
    pen.font = "12px system-ui, sans-serif";
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
        pen.fillStyle = palette().fault;
        pen.fillRect(from, y + 2, to - from, 4);
        pen.beginPath();
        pen.moveTo(from, y - 5);
        pen.lineTo(from - 4, y + 3);
        pen.lineTo(from + 4, y + 3);
        pen.fill();
      } else {
        pen.strokeStyle = palette().quiet;
        pen.lineWidth = 1;
        pen.strokeRect(from + 0.5, y + 2.5, Math.max(3, to - from), 3);
      }
      const at = Math.max(2, from + 5);
      if (at > free && (to - from > 60 || view.to - view.from < 30)) {
        this.label(pen, event[4], at, y - 14, palette().quiet);
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
      pen.fillStyle = palette().levels[warning[0]];
      pen.globalAlpha = 0.85;
      pen.fillRect(from, STRIP - 3 - height, to - from, height);
      pen.globalAlpha = 1;
    }
    let free = -Infinity;
    for (const mark of this.marks.marks) {
      if (mark[0] < view.from || mark[0] > view.to) continue;
      const x = Math.round(this.x(mark[0], drawn.width)) + 0.5;
      pen.strokeStyle = palette().text;
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
        this.label(pen, text, at, 4, palette().text);
        free = at + width;
      }
    }
    this.label(pen, this.marks.warnings.length ? "warnings" : "no warnings", 5, STRIP - 30, palette().quiet);
  };

  Line.prototype.drawCursor = function (drawn) {
    const pen = drawn.pen;
    if (this.drag && this.drag.selects) {
      pen.fillStyle = palette().fill;
      pen.fillRect(Math.min(this.drag.x, this.drag.now), STRIP, Math.abs(this.drag.now - this.drag.x), drawn.height - STRIP - AXIS);
    }
    if (this.cursor === null || this.cursor < this.view.from || this.cursor > this.view.to) return;
    const x = Math.round(this.x(this.cursor, drawn.width)) + 0.5;
    pen.strokeStyle = palette().text;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x, STRIP);
    pen.lineTo(x, drawn.height - AXIS);
    pen.stroke();
  };

  Line.prototype.drawOverview = function () {
    const drawn = sized(this.strip, 30);
    const pen = drawn.pen;
    const marks = this.marks;
    const span = marks.last_s - marks.first_s;
    const x = function (at) { return ((at - marks.first_s) / span) * drawn.width; };
    pen.fillStyle = palette().ground;
    pen.fillRect(0, 0, drawn.width, 30);
    pen.fillStyle = palette().fault;
    for (const event of marks.events) if (event[3]) pen.fillRect(x(event[1]), 18, Math.max(1.5, x(event[2]) - x(event[1])), 10);
    for (const warning of marks.warnings) {
      pen.fillStyle = palette().levels[warning[0]];
      pen.fillRect(x(warning[1]), 3, Math.max(1.5, x(warning[2]) - x(warning[1])), 4 + 3 * warning[0]);
    }
    pen.strokeStyle = palette().text;
    pen.lineWidth = 2;
    const from = x(this.view.from);
    pen.strokeRect(from + 1, 1, Math.max(4, x(this.view.to) - from) - 2, 28);
  };

  /* Reading off */
  Line.prototype.read = function (at) {
    this.cursor = Math.min(Math.max(at, this.marks.first_s), this.marks.last_s);
    const data = this.data();
    if (!data) return;
    const decimals = Math.max(1, decimalsFor(this.view.to - this.view.from));
    const said = [];
    const cursor = this.cursor;
    const span = this.view.to - this.view.from;
    data.lanes.forEach(function (lane) {
      const volts = around(lane.volts, cursor - data.from_s, span, data.level);
      const amps = around(lane.amps, cursor - data.from_s, span, data.level);
      said.push([lane.name, volts === null && amps === null ? "–" : shown(volts) + " V, " + shown(amps) + " A"]);
    });
    const head = document.createElement("strong");
    head.textContent = clock(cursor - this.marks.first_s, decimals);
    this.reading.replaceChildren(head, ...said.map(function (pair) {
      const one = document.createElement("span");
      const name = document.createElement("i");
      name.textContent = pair[0];
      one.append(name, " " + pair[1]);
      return one;
    }));
    this.draw();
  };

  /* Lowest and highest near a moment, or the one value there. */
  function around(curve, at, span, level) {
    const reach = level === "rows" ? Math.max(0.15, span / 800) : level === "cycles" ? 0.06 : 0.0006;
    const first = firstAfter(curve.at, at - reach);
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
    const span = Math.max(LEAST_S, (view.to - view.from) * factor);
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
    const span = Math.max(LEAST_S, ((drag.view.to - drag.view.from) * drag.apart) / apart);
    const share = middle / this.canvas.clientWidth;
    this.go(drag.about - share * span, drag.about + (1 - share) * span, true);
  };

  Line.forgetColours = function () { colours = null; };
  window.pilotlamp.TimeLine = Line;
})();

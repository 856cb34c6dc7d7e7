/* The one chart: colours, scales, lines, labels and marks of every plot on every page. What it computes has no page in it and is
   tested by itself (tests/script). */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const NICE = [0.1, 0.2, 0.5, 1, 2, 3, 5, 8, 10, 15, 20, 30, 50, 100, 200, 500];
  const STEPS = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400];
  const COLUMN = 1.5; // pixels: a band that is drawn as one
  const DOT = 3; // pixels
  const USUAL = 0.97; // a scale shows this share of all values; what is above is marked with its figure
  const SPARE = 1.5; // a highest value up to so many times the usual is worth a scale that shows it
  let colours = null;

  function niceTop(value) {
    for (const step of NICE) if (step >= value * (1 - 1e-9)) return step;
    return Math.ceil(value / 500) * 500;
  }

  /* The top of a scale: by what is usual, so that one spike does not flatten the rest. */
  function usualTop(values, least) {
    const sorted = Array.from(values).filter(Number.isFinite).sort(function (a, b) { return a - b; });
    if (!sorted.length) return niceTop(least);
    const highest = sorted[sorted.length - 1];
    const usual = Math.max(sorted[Math.floor((sorted.length - 1) * USUAL)], least / SPARE);
    return niceTop(Math.max(least, highest <= usual * SPARE ? highest : usual * 1.1) * 1.02);
  }

  /* The highest value of each stretch beyond the top: where a mark with a figure goes. */
  function spikes(piece, top, apart) {
    const found = [];
    let last = null;
    for (const point of piece) {
      if (!(point[1] > top)) continue;
      if (last && point[0] - last[0] < apart) {
        if (point[1] > last[1]) last[1] = point[1];
      } else {
        found.push(last = [point[0], point[1]]);
      }
    }
    return found;
  }

  function pad(number) { return String(number).padStart(2, "0"); }

  function clock(seconds, decimals) {
    const whole = Math.floor(seconds + 1e-9);
    const rest = decimals ? (seconds - whole).toFixed(decimals).slice(1) : "";
    return Math.floor(whole / 3600) + ":" + pad(Math.floor(whole / 60) % 60) + ":" + pad(whole % 60) + rest;
  }

  function decimalsFor(span) { return span < 0.5 ? 3 : span < 5 ? 2 : span < 60 ? 1 : 0; }

  /* A step for so many marks over a span. */
  function stepFor(span, marks) {
    return STEPS.find(function (each) { return each >= span / Math.max(2, marks); }) || 28800;
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

  /* Few points: one line from hole to hole; [x, y, y] of each point. */
  function runs(curve, first, last, hole, place, y) {
    const pieces = [];
    let piece = null;
    for (let k = first; k < last; k++) {
      if (Number.isNaN(curve.values[k]) || curve.values[k] === null) { piece = null; continue; }
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

  /* Drawing */
  function palette() {
    if (colours) return colours;
    const style = getComputedStyle(document.documentElement);
    const of = function (name) { return style.getPropertyValue(name).trim(); };
    colours = {
      panel: of("--panel"), text: of("--text"), quiet: of("--quiet"), line: of("--line"), ground: of("--void"), volts: of("--volts"),
      amps: of("--amps"), fill: of("--amps-fill"), levels: ["", of("--low"), of("--medium"), of("--high")], fault: of("--medium"),
      limit: of("--high"), letters: of("--plot"),
    };
    // On a wall letters are given by the width of the screen.
    colours.letters = colours.letters.replace(/([\d.]+)vw/, function (_all, part) { return Math.round(window.innerWidth * part / 100) + "px"; });
    colours.size = Number((colours.letters.match(/([\d.]+)px/) || [0, 12])[1]);
    return colours;
  }

  /* A pen for a canvas that is as large as it is shown, cleared. */
  function sized(canvas, height) {
    const width = Math.max(50, canvas.clientWidth);
    const ratio = window.devicePixelRatio || 1;
    if (height) canvas.style.height = height + "px";
    const high = height || canvas.clientHeight;
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(high * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(high * ratio);
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, high);
    pen.font = palette().letters;
    return { pen: pen, width: width, height: high };
  }

  function label(pen, text, x, y, look) {
    const how = look || {};
    pen.font = (how.strong ? "600 " : "") + palette().letters.replace(/^\d00 /, "");
    pen.textBaseline = "top";
    pen.textAlign = how.align || "left";
    const width = pen.measureText(text).width;
    const left = how.align === "right" ? x - width - 2 : how.align === "center" ? x - width / 2 - 2 : x - 2;
    pen.globalAlpha = 0.78;
    pen.fillStyle = palette().panel;
    pen.fillRect(left, y - 1, width + 4, palette().size + 2);
    pen.globalAlpha = 1;
    pen.fillStyle = how.colour || palette().quiet;
    pen.fillText(text, x, y);
    pen.textAlign = "left";
    return width;
  }

  function under(pen, piece, bottom, colour) {
    pen.fillStyle = colour;
    pen.beginPath();
    pen.moveTo(piece[0][0], bottom);
    for (const point of piece) pen.lineTo(point[0], point[1]);
    pen.lineTo(piece[piece.length - 1][0], bottom);
    pen.fill();
  }

  function along(pen, piece, colour, width) {
    pen.strokeStyle = colour;
    pen.fillStyle = colour;
    pen.lineWidth = width || 1.5;
    pen.lineJoin = "round";
    pen.beginPath();
    if (piece.every(function (point) { return point[1] === point[2]; })) {
      pen.moveTo(piece[0][0], piece[0][1]);
      for (const point of piece.slice(1)) pen.lineTo(point[0], point[1]);
      pen.stroke();
      return;
    }
    for (const point of piece) pen.lineTo(point[0], point[1] - 0.7);
    for (let k = piece.length - 1; k >= 0; k--) pen.lineTo(piece[k][0] + 0.5, piece[k][2] + 0.7);
    pen.fill();
  }

  /* Where a line ends. */
  function dot(pen, piece, colour) {
    const last = piece[piece.length - 1];
    pen.fillStyle = colour;
    pen.beginPath();
    pen.arc(last[0], last[1], DOT, 0, 7);
    pen.fill();
  }

  function rule(pen, from, to, colour, dashes) {
    pen.strokeStyle = colour;
    pen.lineWidth = 1;
    pen.setLineDash(dashes || []);
    pen.beginPath();
    pen.moveTo(from[0], from[1]);
    pen.lineTo(to[0], to[1]);
    pen.stroke();
    pen.setLineDash([]);
  }

  /* A spike that is higher than the plot: a triangle at the top, and how high it went. */
  function spikeMark(pen, x, top, figure, width) {
    const colour = palette().limit;
    pen.fillStyle = colour;
    pen.beginPath();
    pen.moveTo(x, top);
    pen.lineTo(x - 5, top + 8);
    pen.lineTo(x + 5, top + 8);
    pen.fill();
    const right = x > width - 60;
    label(pen, figure, right ? x - 8 : x + 8, top, { colour: colour, strong: true, align: right ? "right" : "left" });
  }

  function recolour() {
    colours = null;
    document.dispatchEvent(new CustomEvent("pilotlamp:colours"));
  }
  if (window.matchMedia) {
    for (const kind of ["(prefers-color-scheme: light)", "print"]) window.matchMedia(kind).addEventListener("change", recolour);
    window.addEventListener("resize", function () { window.requestAnimationFrame(recolour); });
  }

  feed.chart = {
    niceTop: niceTop, usualTop: usualTop, spikes: spikes, clock: clock, pad: pad, decimalsFor: decimalsFor, stepFor: stepFor,
    firstAfter: firstAfter, runs: runs, columns: columns, palette: palette, sized: sized, label: label, under: under, along: along,
    rule: rule, dot: dot, DOT: DOT, spikeMark: spikeMark,
  };
})();

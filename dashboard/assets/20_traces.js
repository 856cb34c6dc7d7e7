/* Traces of the last minute on plain canvases: volts above, amps below, drawn from buckets that the feed brings. */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const SHOWN = 300; // buckets of a fifth of a second
  const RING = 512;
  const NO_BUCKET = -(2 ** 31);
  const NICE = [0.5, 1, 2, 3, 5, 8, 10, 15, 20, 30, 50, 100];

  let rings = []; // per district
  let last = -1; // number of the newest bucket
  let bucketS = 0.2;
  let colours = null;

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
        const slot = number % RING;
        ring.numbers[slot] = number;
        ring.volts[slot] = trace.volts[d][k] === null ? NaN : trace.volts[d][k];
        ring.amps[slot] = trace.amps[d][k] === null ? NaN : trace.amps[d][k];
        ring.peaks[slot] = trace.peaks[d][k] === null ? NaN : trace.peaks[d][k];
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

  function readColours() {
    const style = getComputedStyle(document.documentElement);
    function of(name) { return style.getPropertyValue(name).trim(); }
    colours = {
      volts: of("--volts"), amps: of("--amps"), fill: of("--amps-fill"), line: of("--line"), text: of("--quiet"), limit: of("--high"),
      void: of("--void"),
    };
  }

  function niceTop(value) {
    for (const top of NICE) if (value <= top) return top;
    return Math.ceil(value / 50) * 50;
  }

  function sized(canvas) {
    const ratio = window.devicePixelRatio || 1;
    const width = Math.round(canvas.clientWidth * ratio);
    const height = Math.round(canvas.clientHeight * ratio);
    if (canvas.width !== width || canvas.height !== height) {
      canvas.width = width;
      canvas.height = height;
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    return pen;
  }

  function draw(canvas) {
    const ring = rings[Number(canvas.dataset.trace)];
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    if (!ring || width < 20 || height < 20) return;
    if (colours === null) readColours();
    const pen = sized(canvas);
    pen.clearRect(0, 0, width, height);
    // "Now" goes on when nothing comes, so a silence is seen as an empty stretch at the right.
    const nowBucket = feed.payload ? Math.floor((feed.payload.now_s + Math.min(feed.sinceS(), 3600)) / bucketS) : last;
    const first = nowBucket - SHOWN + 1;
    const plotted = { pen: pen, ring: ring, first: first, end: nowBucket, width: width };
    const parting = Math.round(height * 0.36);
    drawSilence(plotted, height);
    drawVolts(plotted, 2, parting - 3, Number(canvas.dataset.volts));
    pen.fillStyle = colours.line;
    pen.fillRect(0, parting, width, 1);
    drawAmps(plotted, parting + 3, height - 1, Number(canvas.dataset.limit));
  }

  function points(plotted, values) {
    const found = [];
    let piece = [];
    let missing = 0;
    for (let number = plotted.first; number <= plotted.end; number++) {
      const slot = ((number % RING) + RING) % RING;
      const here = plotted.ring.numbers[slot] === number && !Number.isNaN(values[slot]);
      if (here) {
        if (missing > 5 && piece.length) {
          found.push(piece);
          piece = [];
        }
        missing = 0;
        piece.push([((number - plotted.first + 1) / SHOWN) * plotted.width, values[slot]]);
      } else {
        missing += 1;
      }
    }
    if (piece.length) found.push(piece);
    return found;
  }

  /* Where nothing came for longer than a second, the ground is marked. */
  function drawSilence(plotted, height) {
    let from = null;
    let begun = false; // what was before the first figure is no silence
    plotted.pen.fillStyle = colours.void;
    for (let number = plotted.first; number <= plotted.end + 1; number++) {
      const slot = ((number % RING) + RING) % RING;
      const here = number > plotted.end || plotted.ring.numbers[slot] === number;
      if (!here && begun && from === null) from = number;
      if (here) begun = true;
      if (here && from !== null) {
        if (number - from > 5) {
          const x = ((from - plotted.first) / SHOWN) * plotted.width;
          plotted.pen.fillRect(x, 0, ((number - from) / SHOWN) * plotted.width, height);
        }
        from = null;
      }
    }
  }

  function stroke(pen, pieces, y, colour, width) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.lineJoin = "round";
    pen.beginPath();
    for (const piece of pieces) {
      piece.forEach(function (point, k) {
        if (k === 0) pen.moveTo(point[0], y(point[1]));
        else pen.lineTo(point[0], y(point[1]));
      });
    }
    pen.stroke();
  }

  function label(pen, text, x, y) {
    pen.font = "11px system-ui, sans-serif";
    pen.fillStyle = colours.text;
    pen.textBaseline = "top";
    pen.fillText(text, x, y);
  }

  function drawVolts(plotted, top, bottom, most) {
    const scale = most * 1.1;
    const y = function (value) { return bottom - (Math.min(value, scale) / scale) * (bottom - top); };
    stroke(plotted.pen, points(plotted, plotted.ring.volts), y, colours.volts, 1.75);
    label(plotted.pen, most.toFixed(0) + " V", 1, Math.max(top - 1, bottom - 12)); // volts mostly run near the top
  }

  function drawAmps(plotted, top, bottom, limit) {
    const pen = plotted.pen;
    const peaks = points(plotted, plotted.ring.peaks);
    let highest = 0.4;
    for (const piece of peaks) for (const point of piece) highest = Math.max(highest, point[1]);
    const scale = niceTop(highest * 1.08);
    const y = function (value) { return bottom - (Math.min(value, scale) / scale) * (bottom - top); };
    pen.fillStyle = colours.fill;
    for (const piece of peaks) {
      pen.beginPath();
      pen.moveTo(piece[0][0], bottom);
      for (const point of piece) pen.lineTo(point[0], y(point[1]));
      pen.lineTo(piece[piece.length - 1][0], bottom);
      pen.fill();
    }
    stroke(pen, points(plotted, plotted.ring.amps), y, colours.amps, 1.75);
    if (limit <= scale) {
      pen.strokeStyle = colours.limit;
      pen.lineWidth = 1;
      pen.setLineDash([5, 4]);
      pen.beginPath();
      pen.moveTo(0, y(limit));
      pen.lineTo(plotted.width, y(limit));
      pen.stroke();
      pen.setLineDash([]);
    }
    label(pen, scale + " A", 1, top);
  }

  function drawAll() {
    document.querySelectorAll("canvas[data-trace]").forEach(draw);
  }

  let drawnBucket = -1;
  document.addEventListener("pilotlamp:start", function () {
    rings = [];
    last = -1;
    fetchMinute();
  });
  document.addEventListener("pilotlamp:tick", function (event) {
    const trace = event.detail.trace;
    const missed = last >= 0 && trace.first > last + 1;
    take(trace);
    if (missed) fetchMinute();
    const bucket = Math.floor(event.detail.now_s / bucketS);
    if (bucket !== drawnBucket && !document.hidden) drawAll();
    drawnBucket = bucket;
  });
  document.addEventListener("pilotlamp:age", function () { if (!feed.isConnected() && !document.hidden) drawAll(); });
  document.addEventListener("pilotlamp:page", drawAll);
  window.matchMedia("(prefers-color-scheme: light)").addEventListener("change", function () {
    colours = null;
    drawAll();
  });
  window.addEventListener("resize", function () { window.requestAnimationFrame(drawAll); });
})();

/* The wave of one district as it is sampled now, and its figures, twice a second. */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const EVERY_MS = 500;
  const CYCLES = 3;

  let latest = null;
  let receivedAt = 0;
  let asking = false;

  function css(name) {
    return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  }

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
      figures.forEach(function () { list.append(document.createElement("dt"), document.createElement("dd")); });
    }
    figures.forEach(function (figure, k) {
      list.children[2 * k].textContent = figure[0];
      list.children[2 * k + 1].textContent = figure[1] + (figure[2] ? " " + figure[2] : "");
    });
  }

  function showPhasings(phasings) {
    const place = document.querySelector("[data-phasing]");
    if (!place) return;
    const lines = phasings.map(function (p) {
      return p.other + ": " + p.verdict.replace("-", " ") + ", " + p.difference_volts + " V between the hots, " + p.degrees + "°. " + p.advice;
    });
    const text = lines.join("\n") || "Nothing to compare with: one board has to measure two supplies.";
    if (place.textContent !== text) place.textContent = text;
  }

  /* The first rise of the volts through zero: the picture stands still from one to the next. */
  function firstRise(volts) {
    for (let k = 1; k < volts.length / 2; k++) if (volts[k - 1] < 0 && volts[k] >= 0) return k - volts[k] / (volts[k] - volts[k - 1]);
    return 0;
  }

  function drawWave(canvas, detail, stale) {
    const ratio = window.devicePixelRatio || 1;
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d");
    pen.scale(ratio, ratio);
    const wave = detail.wave;
    pen.fillStyle = css("--quiet");
    pen.font = "14px system-ui, sans-serif";
    if (wave === null || stale) {
      pen.fillText(wave === null ? "This board sends readings, no samples." : "No wave: the figures are stale.", 12, 24);
      return;
    }
    const middle = height / 2;
    pen.fillStyle = css("--line");
    pen.fillRect(0, middle, width, 1);
    const startS = firstRise(wave.volts) * wave.interval_s;
    const spanS = Math.min(CYCLES / detail.mains_hertz, wave.volts.length * wave.interval_s - startS);
    one(pen, wave.amps, wave.amps_at_s - wave.volts_at_s, "--amps", " A", [width, height, startS, spanS, wave.interval_s], 20);
    one(pen, wave.volts, 0, "--volts", " V", [width, height, startS, spanS, wave.interval_s], 0);
  }

  function one(pen, values, laterS, colour, unit, frame, from) {
    const width = frame[0], height = frame[1], startS = frame[2], spanS = frame[3], intervalS = frame[4];
    let most = unit === " V" ? 2 : 0.5;
    for (const value of values) most = Math.max(most, Math.abs(value));
    most *= unit === " V" ? 1.1 : 1.7; // amps stay inside the volts, so that neither hides the other
    pen.strokeStyle = css(colour);
    pen.lineWidth = unit === " V" ? 2.5 : 2;
    pen.setLineDash(unit === " V" ? [] : [7, 3]);
    pen.lineJoin = "round";
    pen.beginPath();
    let begun = false;
    values.forEach(function (value, k) {
      const x = ((k * intervalS + laterS - startS) / spanS) * width;
      if (x < -20 || x > width + 20) return;
      const y = height / 2 - (value / most) * (height / 2 - 4);
      if (begun) pen.lineTo(x, y);
      else pen.moveTo(x, y);
      begun = true;
    });
    pen.stroke();
    pen.setLineDash([]);
    pen.font = "13px system-ui, sans-serif";
    pen.fillStyle = css("--panel");
    pen.fillRect(0, from + 2, 64, 19);
    pen.fillStyle = css(colour);
    pen.fillText("±" + most.toFixed(most < 10 ? 1 : 0) + unit, 4, 16 + from);
  }

  window.setInterval(ask, EVERY_MS);
  document.addEventListener("pilotlamp:page", function () {
    latest = null;
    ask();
  });
  document.addEventListener("pilotlamp:age", function () { if (latest !== null && !feed.isConnected()) show(); });
})();

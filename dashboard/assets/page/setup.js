/* The set-up page: draws the card that the server says, keeps each answer as it is typed, and shows what the boards say just now. */
import { feed } from "./start.js";

const LOOK_MS = 400, KEPT_POINTS = 60;
const past = {}, rows = {}; // volts lately, and where a pair is shown, by board and pair
let shown = null; // what is drawn
let timer = null;
let spoken = ""; // what the boards' side said last
let asked = 0, stepped = 0, stepping = 0, pending = 0; // requests: the last, the last to another card, those on their way

function place(name) { return document.querySelector("[data-setup-" + name + "]"); }

/* Ask the server. Where a step to another card is on its way, what answers anything else is not drawn: it is of the card before. */
function ask(request) {
  const steps = Boolean(request.order || request.card || (request.move && request.move !== "stay")), isOld = stepping > 0 && !steps;
  const number = ++asked;
  if (steps) { stepping++; stepped = number; }
  pending++;
  return fetch("/setup/state", {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Pilotlamp": "1" },
    body: JSON.stringify(Object.assign({ card: shown ? shown.card : "" }, request)),
  })
    .then(function (response) { return response.text().then(function (text) { return { status: response.status, text: text }; }); })
    .finally(function () { pending--; if (steps) stepping--; })
    .then(function (response) {
      if (response.status === 403) return refuse(response.text);
      const state = JSON.parse(response.text);
      if (response.status !== 200) return say(state.sentence);
      if (state.done) return say(state.done);
      if (place("card") && !isOld && number >= stepped) draw(state, steps);
    })
    .catch(function () { say("pilotlamp does not answer: is it still running? What was typed so far is kept."); });
}

function say(sentence) { feed.put(place("said"), sentence); }

function refuse(text) {
  say(text.trim());
  const form = place("card");
  if (form && !form.firstChild) {
    const link = feed.make("a", "", "Enter with the passphrase or the one-time link");
    link.href = "/enter";
    form.append(link);
  }
}

/* ---- the card ---- */

function keysOf(state) { return state.card + ":" + state.fields.map(function (field) { return field.key; }).join(); }

/* All of a card but what is typed and what the board says just now. */
function frameOf(state) {
  const fields = state.fields.map(function (field) { return Object.assign({}, field, { now: "", complaint: "", value: "" }); });
  return JSON.stringify([state.card, state.title, state.about, state.warnings, state.cautions, state.text, state.forwards, fields]);
}

/* A step to the card that is there already leaves it alone: somebody may be typing. */
function draw(state, moves) {
  const before = shown;
  shown = state;
  if (!before || keysOf(before) !== keysOf(state) || (moves && frameOf(before) !== frameOf(state))) {
    drawCard(state, before, moves);
    drawChapters(state);
  }
  state.fields.forEach(function (field) {
    const box = document.getElementById("setup-" + field.key);
    if (!box) return;
    feed.put(box.querySelector(".complaint"), field.complaint);
    feed.put(box.querySelector(".now"), field.now);
    box.querySelectorAll("input, select").forEach(function (input) { input.setAttribute("aria-invalid", String(Boolean(field.complaint))); });
  });
  drawNow(state);
}

function drawChapters(state) {
  const list = place("chapters");
  list.textContent = "";
  state.chapters.forEach(function (chapter) {
    const item = feed.make("li"), step = button(chapter.name, function () { go(chapter.card); });
    step.disabled = !chapter.card;
    if (chapter.here) step.setAttribute("aria-current", "step");
    item.append(step);
    list.append(item);
  });
}

function drawCard(state, before, moves) {
  const form = place("card");
  const focused = document.activeElement && form.contains(document.activeElement) ? document.activeElement.id : "";
  const typedHere = before && before.card === state.card ? Array.from(form.querySelectorAll("[data-typed]")) : [];
  form.textContent = "";
  form.dataset.card = state.card;
  const title = feed.make("h2", "", state.title);
  title.tabIndex = -1; // so that a screen reader begins here
  form.append(title);
  [["", state.about], ["warning", state.warnings], ["none", state.cautions]].forEach(function (part) {
    part[1].forEach(function (sentence) { form.append(feed.make("p", part[0], sentence)); });
  });
  const fields = feed.make("div", state.card.endsWith(".plate") ? "fields nameplate" : "fields");
  state.fields.forEach(function (field) { fields.append(made(field)); });
  form.append(fields);
  if (state.card === "boards") form.append(otherPort());
  if (state.text) {
    const more = feed.make("details");
    more.append(feed.make("summary", "", "The file"), feed.make("pre", "walk", state.text));
    form.append(more);
  }
  form.append(buttons(state));
  typedHere.forEach(keepTyped);
  const again = focused && document.getElementById(focused);
  if (again) again.focus();
  else if (before && moves) title.focus();
}

/* The same card may be drawn again by an answer to something asked earlier: what was typed meanwhile stays. */
function keepTyped(old) {
  const input = document.getElementById(old.id);
  if (!input || input.dataset.key !== old.dataset.key) return;
  if (input.type === "radio") input.checked = old.checked;
  else input.value = old.value;
  input.dataset.typed = "yes";
}

/* A question: its entry or choices, what the board says now, how to tell, and why what was typed is no answer. */
function made(field) {
  const kind = field.shown_as, box = feed.make(kind === "radio" ? "fieldset" : "div", "field");
  box.id = "setup-" + field.key;
  const after = [["now", ""], ["none", field.note], ["complaint", ""]].map(function (part) {
    const line = feed.make("p", part[0], part[1]);
    line.id = box.id + "-" + part[0];
    return line;
  });
  let described = box;
  if (kind === "radio") {
    box.append(feed.make("legend", "", field.text));
    field.choices.forEach(function (choice, n) { box.append(radio(field, choice, n)); });
  } else if (kind !== "button") {
    const label = feed.make("label", "", field.text), input = described = kind === "select" ? select(field) : entry(field);
    input.id = label.htmlFor = box.id + "-entry";
    input.dataset.key = field.key;
    box.append(label, input, feed.make("span", "unit", field.unit));
  }
  described.setAttribute("aria-describedby", after[1].id + " " + after[2].id);
  after.forEach(function (part) { box.append(part); });
  return box;
}

function entry(field) {
  const input = feed.make("input");
  input.autocomplete = "off";
  input.inputMode = field.keyboard;
  input.value = field.value;
  return input;
}

function radio(field, choice, n) {
  const label = feed.make("label", "option"), input = feed.make("input");
  input.type = "radio";
  input.name = "setup-radio-" + field.key;
  input.id = input.name + "-" + n;
  input.value = choice[0];
  input.dataset.key = field.key;
  input.checked = field.value.toLowerCase() === choice[0].toLowerCase();
  label.append(input, feed.make("span", "", choice[0] + (choice[1] ? ": " + choice[1] : "")));
  return label;
}

function select(field) {
  const input = feed.make("select");
  [["", field.optional ? "not looked at" : "choose"]].concat(field.choices).forEach(function (choice) {
    const option = feed.make("option", "", choice[0] || choice[1]);
    option.value = choice[0];
    input.append(option);
  });
  input.value = field.value;
  return input;
}

function button(text, act, type) {
  const pressed = feed.make("button", "", text);
  pressed.type = type || "button";
  if (act) pressed.addEventListener("click", act);
  return pressed;
}

function buttons(state) {
  const row = feed.make("div", "buttons");
  if (!state.first) row.append(button("Back", function () { ask({ move: "back" }); }));
  row.append(button(state.forwards, null, "submit"));
  if (!state.first) row.append(button("Forget all of this", forget));
  return row;
}

function forget() {
  if (window.confirm("Throw away what was typed so far and begin again?")) { shown = null; ask({ order: "forget" }); }
}

function otherPort() {
  const box = feed.make("div", "field"), row = feed.make("div", "buttons"), input = feed.make("input");
  const label = feed.make("label", "", "A port that is not listed (a device, or socket://HOST:PORT)");
  input.id = label.htmlFor = "setup-port";
  input.autocomplete = "off";
  row.append(button("Listen there", function () { ask({ order: "port", port: input.value }); }));
  row.append(button("No board yet: try it on the rehearsal board", function () { ask({ order: "rehearse" }); }));
  box.append(label, input, row);
  return box;
}

function typed() {
  const found = {};
  place("card").querySelectorAll("[data-key]").forEach(function (input) {
    if (input.type !== "radio") found[input.dataset.key] = input.value;
    else if (input.checked || !(input.dataset.key in found)) found[input.dataset.key] = input.checked ? input.value : "";
  });
  if (shown.card === "boards") found.boards = "yes";
  return found;
}

/* What was typed is kept already; what is only proposed is no answer until "Next". */
function go(card) { ask({ card: card }); }

/* ---- what the boards say ---- */

function drawNow(state) {
  const box = place("ports");
  const mark = JSON.stringify(state.ports.map(function (port) { return [port.port, port.about, port.pairs.map(function (pair) { return pair.name; })]; }));
  if (box.dataset.mark !== mark) { box.dataset.mark = mark; layOut(box, state.ports); }
  state.ports.forEach(function (port, n) {
    feed.put(box.querySelector("[data-port='" + n + "'] .said"), port.said);
    port.pairs.forEach(drawPair);
  });
  drawMoved(state);
  if (state.said || place("said").textContent === spoken) say(state.said);
  spoken = state.said;
}

function layOut(box, ports) {
  box.textContent = "";
  if (!ports.length) box.append(feed.make("p", "none", "No port is plugged in yet. Each appears here as it is."));
  ports.forEach(function (port, n) {
    const part = feed.make("div", "port");
    part.dataset.port = n;
    part.append(feed.make("h3", "", port.port), feed.make("p", "none", port.about), feed.make("p", "said"));
    port.pairs.forEach(function (pair) {
      const row = rows[pair.key] = feed.make("div", "pairrow"), trace = feed.make("canvas");
      trace.width = 120;
      trace.height = 24;
      trace.setAttribute("aria-hidden", "true");
      row.append(feed.make("span", "", pair.name), feed.make("b", "volts"), feed.make("b", "amps"), trace);
      part.append(row);
    });
    box.append(part);
  });
}

function drawPair(pair) {
  const row = rows[pair.key], kept = past[pair.key] = (past[pair.key] || []).concat([pair.volts || 0]).slice(-KEPT_POINTS);
  feed.put(row.querySelector(".volts"), pair.said[0]);
  feed.put(row.querySelector(".amps"), pair.said[1]);
  const canvas = row.querySelector("canvas"), pen = canvas.getContext("2d"), top = Math.max.apply(null, kept.concat([1]));
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.strokeStyle = getComputedStyle(canvas).color;
  pen.beginPath();
  kept.forEach(function (volts, k) { pen.lineTo(k * canvas.width / KEPT_POINTS, canvas.height - 2 - volts / top * (canvas.height - 4)); });
  pen.stroke();
}

function drawMoved(state) {
  const box = place("moved");
  if (box.dataset.said === state.moved) return;
  box.dataset.said = state.moved;
  box.textContent = "";
  if (!state.moved) return;
  box.append(feed.make("p", "moved", state.moved));
  if (state.cards.includes(state.moved_card)) box.append(button("Name it", function () { go(state.moved_card); }));
}

/* ---- what happens ---- */

document.addEventListener("submit", function (event) {
  if (event.target !== place("card")) return;
  event.preventDefault();
  say("");
  if (shown.card === "write") { ask({ order: "write" }); return; }
  ask({ move: "next", answers: typed() }).then(function () {
    const wrong = document.querySelector("[data-setup-card] [aria-invalid='true']");
    if (wrong) wrong.focus();
  });
});

document.addEventListener("input", function (event) {
  const form = place("card");
  if (form && form.contains(event.target) && event.target.dataset.key) event.target.dataset.typed = "yes";
});

document.addEventListener("change", function (event) {
  const form = place("card");
  if (!form || !form.contains(event.target) || !event.target.dataset.key) return;
  const kept = {};
  kept[event.target.dataset.key] = event.target.value;
  ask({ answers: kept });
});

function look() {
  if (!place("card")) { window.clearInterval(timer); timer = null; shown = null; return; }
  if (!document.hidden && pending === 0) ask({});
}

function begin() {
  if (!place("card") || timer !== null) return;
  shown = null;
  timer = window.setInterval(look, LOOK_MS);
  look();
}

document.addEventListener("pilotlamp:page", begin);
begin();

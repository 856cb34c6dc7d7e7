/* The Review page around its time lines: puts in what the server says of the chosen sessions, shows the moment of the event that
   is chosen, and keeps up with a session that is still being recorded. */
import { Line } from "./review.js";
import { AWAY, make, put } from "./start.js";

const RENEW_MS = 4000;
const PATIENCE = 5; // times as long as the last answer took is waited for the next
const lines = new Set();
let renewing = false;
let renewAt = 0;

function main() { return document.querySelector("#review-main[data-sheet]"); }

function say(place, text) {
  const said = make("p", "panel quiet", text);
  said.setAttribute("role", "status");
  place.replaceChildren(said);
}

function plain(text) { return new DOMParser().parseFromString(text, "text/html").body.textContent; }

/* What is said of the chosen sessions comes as markup of the server's own making, every text in it escaped: time lines, and the rest. */
function askSheet(place) {
  const query = "session=" + encodeURIComponent(place.dataset.sheet) + "&beside=" + encodeURIComponent(place.dataset.beside);
  return fetch("/review/sheet?" + query, { cache: "no-store" }).then(function (answer) {
    return answer.text().then(function (text) {
      if (!answer.ok) throw new Error(plain(text));
      const parts = document.createElement("template");
      parts.innerHTML = text;
      return parts.content.children;
    });
  }, function () { throw new Error(AWAY); });
}

function rest() { return document.getElementById("review-rest"); }

function fillSheet(place) {
  place.pilotlampAsked = true;
  say(place, "Opening the session …");
  askSheet(place)
    .then(function (parts) {
      if (main() !== place) return; // another session was chosen meanwhile, and its answer may have come first
      rest().replaceChildren(...parts[1].childNodes);
      place.replaceChildren(...parts[0].childNodes);
    })
    .catch(function (error) { say(place, error.message); });
}

/* A search over what each session is called; months without a match go out of sight. */
function makeFind(place) {
  place.pilotlampMade = true;
  const input = make("input");
  input.type = "search";
  input.setAttribute("aria-label", place.dataset.label);
  input.placeholder = "day, month, title";
  input.addEventListener("input", function () {
    const wanted = input.value.trim().toLowerCase().split(/\s+/);
    document.querySelectorAll(".sessions [data-month]").forEach(function (month) {
      let shown = 0;
      month.querySelectorAll("li").forEach(function (item) {
        item.hidden = !wanted.every(function (word) { return item.dataset.words.includes(word); });
        shown += item.hidden ? 0 : 1;
      });
      month.hidden = shown === 0;
      if (input.value.trim()) month.open = true;
    });
  });
  place.append(input);
}

/* The list of sessions comes as markup, too; another session opens without the page being loaded anew. */
function fillSessions(place) {
  if (place.pilotlampRows === place.dataset.rows) return;
  place.pilotlampRows = place.dataset.rows;
  place.innerHTML = place.dataset.rows;
}

document.addEventListener("click", function (click) {
  const link = click.target.closest(".sessions a");
  if (!link || click.ctrlKey || click.metaKey || click.shiftKey || click.button) return;
  click.preventDefault();
  window.dash_clientside.set_props("review-address", { href: link.href });
});

function fresh() {
  document.querySelectorAll(".sessions[data-rows]").forEach(fillSessions);
  document.querySelectorAll("[data-find-session]").forEach(function (each) { if (!each.pilotlampMade) makeFind(each); });
  const place = main();
  if (place && !place.pilotlampAsked) fillSheet(place);
  document.querySelectorAll("[data-review]").forEach(function (root) {
    if (root.pilotlampLine) return;
    root.pilotlampLine = new Line(root);
    lines.add(root.pilotlampLine);
  });
  lines.forEach(function (line) { if (!line.root.isConnected) lines.delete(line); });
}

function drawAll() { lines.forEach(function (line) { line.draw(); }); }

function lineOf(session) {
  for (const line of lines) if (line.id === session) return line;
  return null;
}

function sessionOf(element) {
  const one = element.closest("[data-of]");
  return one ? one.dataset.of : main().dataset.sheet;
}

/* The moment of an event */
let opened = null; // session and event that are shown

function mark() {
  document.querySelectorAll(".happenings [data-event]").forEach(function (button) {
    const own = opened !== null && button.dataset.event === String(opened.event) && sessionOf(button) === opened.session;
    if (own) button.parentElement.setAttribute("aria-current", "true");
    else button.parentElement.removeAttribute("aria-current");
  });
  lines.forEach(function (line) {
    line.root.querySelector("[data-to-moment]").hidden = opened === null || opened.session !== line.id;
  });
}

function choose(session, event) {
  opened = event === null ? null : { session: session, event: event };
  window.dash_clientside.set_props("review-event", { data: opened });
  mark();
}

document.addEventListener("pilotlamp:event", function (told) { choose(told.detail.session, told.detail.event); });

function toMoment() {
  const moment = document.getElementById("review-moment");
  moment.scrollIntoView({ block: "start" });
  moment.focus({ preventScroll: true });
}

function goTo(button) {
  const session = sessionOf(button);
  const line = lineOf(session);
  if (!line || !line.view) return;
  const from = Number(button.dataset.goto);
  line.show(from, button.dataset.until ? Number(button.dataset.until) : line.marks.last_s);
  line.read(from);
  choose(session, button.dataset.event ? Number(button.dataset.event) : null);
  line.canvas.focus({ preventScroll: true });
  line.root.scrollIntoView({ block: "nearest" });
}

document.addEventListener("click", function (click) {
  const goto = click.target.closest("[data-goto]");
  if (goto) goTo(goto);
  if (click.target.closest("[data-to-moment]")) toMoment();
});

/* A session that is being recorded grows while one looks at it. */
function keyOf(element) { return element && element.dataset.goto ? sessionOf(element) + " " + element.dataset.goto : ""; }

/* Tables and lists anew; where somebody had scrolled to and what had the focus stays. */
function renewRest(part) {
  const focused = rest().contains(document.activeElement) ? keyOf(document.activeElement) : "";
  const down = Array.from(rest().querySelectorAll(".happenings, .scroll"), function (each) { return [each.scrollTop, each.scrollLeft]; });
  rest().replaceChildren(...part.childNodes);
  rest().querySelectorAll(".happenings, .scroll").forEach(function (each, k) { if (down[k]) each.scrollTo(down[k][1], down[k][0]); });
  mark();
  if (!focused) return;
  const again = Array.from(rest().querySelectorAll("[data-goto]")).find(function (each) { return keyOf(each) === focused; });
  if (again) again.focus({ preventScroll: true });
}

function renewHeads(part) {
  part.querySelectorAll("[data-head]").forEach(function (head) {
    const shown = main().querySelector('[data-head="' + CSS.escape(head.dataset.head) + '"]');
    if (shown && shown.innerHTML !== head.innerHTML) shown.replaceChildren(...head.childNodes);
  });
}

function isGrowing() { return Array.from(lines).some(function (line) { return line.marks && line.marks.recording; }); }

function renew() {
  if (renewing || document.hidden || performance.now() < renewAt || !main() || !isGrowing()) return;
  renewing = true;
  const began = performance.now();
  const place = main();
  askSheet(place)
    .then(function (parts) {
      if (place !== main()) return null;
      renewHeads(parts[0]);
      renewRest(parts[1]);
      return Promise.all(Array.from(lines, function (line) { return line.marks && line.marks.recording ? line.renew() : false; }));
    })
    .then(function (ended) { if (ended && ended.includes(true)) window.location.reload(); })
    .catch(function (error) {
      document.querySelectorAll("[data-recorded]").forEach(function (said) { put(said, "Not renewed: " + error.message); });
    })
    .then(function () {
      renewing = false;
      renewAt = performance.now() + PATIENCE * (performance.now() - began);
    });
}

window.setInterval(renew, RENEW_MS);
new MutationObserver(fresh).observe(document.body, { childList: true, subtree: true });
fresh();
let width = 0;
window.addEventListener("resize", function () {
  window.requestAnimationFrame(function () {
    drawAll();
    if (window.innerWidth !== width) lines.forEach(function (line) { if (line.view) line.go(line.view.from, line.view.to); });
    width = window.innerWidth;
  });
});
document.addEventListener("pilotlamp:colours", drawAll);

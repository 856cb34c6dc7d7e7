/* The guide of the demonstration: five steps, each ticked off once it was seen. It reads the payload like any other part of the page. */
import { feed } from "./start.js";

const KEPT = "pilotlamp-guide";
const CALM_S = 30; // the overload of the first round comes so long after the first viewer
const WAITS_S = 70; // by then it begins in any case
const MANY = 6; // so many stalls are needed before a place can be told
const openedAt = performance.now();

function kept() {
  try { return JSON.parse(window.sessionStorage.getItem(KEPT)) || {}; } catch { return {}; }
}

/* What was seen so far in this run of the demonstration. */
function seen() {
  const found = kept();
  return found.run === feed.run ? found : { run: feed.run, done: 0, beganS: feed.payload.now_s };
}

function is(kind) {
  return feed.payload.supplies.some(function (supply) { return supply.state === kind; });
}

/* How far the story has come: never back. */
function progress(state) {
  const path = window.location.pathname;
  let done = state.done;
  if (done < 1 && (is("overloaded") || is("no-power"))) done = 1;
  if (done < 2 && is("no-power")) done = 2;
  if (done >= 2 && done < 3 && path === "/stalls") done = 3;
  if (done === 3 && path === "/stalls" && document.querySelector("#stall-places .ring")) done = 4;
  if (done >= 3 && path === "/review") done = 5;
  return done;
}

function calm(state) {
  if (state.beganS > WAITS_S) return "An overload begins every few minutes: watch North bench.";
  const leftS = CALM_S - Math.max(feed.payload.now_s - state.beganS, (performance.now() - openedAt) / 1000);
  return leftS > 1
    ? "In about " + Math.ceil(leftS / 5) * 5 + " s an overload begins: watch North bench."
    : "An overload begins any moment: watch North bench.";
}

const STORY = [
  function (state) { return [calm(state), null]; },
  function () { return ["A heavy freight train came: the headline says what to do, and how long is left. Nobody acts here, so wait.", null]; },
  function () { return ["The protection opened: its trains stand until it closes by itself.", ["Why they stopped", "/stalls"]]; },
  function (_state, path) {
    return path === "/stalls"
      ? ["Open a lost contact: its amps fall to nothing. After " + MANY + " of them a ring shows the one bad place.", ["The recording", "/review?session=now"]]
      : ["On Stalls, a ring shows where on the lap trains lose contact.", ["Stalls", "/stalls"]];
  },
  function () { return ["Where the dots gather, look at rails and joints. All of it is recorded.", ["The recording", "/review?session=now"]]; },
  function () { return ["That was the round: warning, opening, cause, place, recording. Next: Before, or ‘pilotlamp layout new’ with your own supplies.", ["Before", "/before"]]; },
];

function fill() {
  const strip = document.querySelector("[data-guide]");
  if (!strip || !feed.payload || !feed.run) return;
  const state = seen();
  state.done = progress(state);
  window.sessionStorage.setItem(KEPT, JSON.stringify(state));
  strip.hidden = Boolean(state.hidden);
  const step = STORY[Math.min(state.done, STORY.length - 1)](state, window.location.pathname);
  const says = strip.querySelector("[data-guide-says]").children;
  feed.parted(step[0]).forEach(function (part, k) {
    if (says[k].textContent.length !== part.length) says[k].replaceWith(says[k].cloneNode(true)); // another sentence is another element
    feed.put(says[k], part);
  });
  const link = strip.querySelector("[data-guide-to]");
  link.hidden = step[1] === null;
  if (step[1]) {
    feed.put(link, step[1][0]);
    if (link.getAttribute("href") !== step[1][1]) link.href = step[1][1];
  }
  strip.querySelectorAll("[data-guide-steps] li").forEach(function (item, k) { item.dataset.done = String(k < state.done); });
}

document.addEventListener("click", function (click) {
  if (!click.target.closest("[data-guide-hide]")) return;
  const state = seen();
  state.hidden = true;
  window.sessionStorage.setItem(KEPT, JSON.stringify(state));
  fill();
});
document.addEventListener("pilotlamp:tick", fill);
document.addEventListener("pilotlamp:page", fill);

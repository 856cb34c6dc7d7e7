/* The bar of a replay: says where it is, and moves it. */
import { AWAY, chart, make, put, send } from "./start.js";

const EVERY_MS = 500;
const WORD = { playing: "playing", paused: "standing still", leaping: "on its way …", ended: "at its end" };
let slide = null;
let held = false;
let watched = null; // the bar whose being in sight is followed
const sight = new IntersectionObserver(function (seen) {
  const tag = document.querySelector("[data-replay-tag]");
  if (tag) tag.hidden = seen[seen.length - 1].isIntersecting;
});

function bar() { return document.querySelector("[data-replay]"); }

function makeSlide(root) {
  slide = make("input");
  slide.type = "range";
  slide.min = "0";
  slide.step = "0.2";
  slide.setAttribute("aria-label", "Where in the session");
  slide.addEventListener("input", function () { held = true; });
  slide.addEventListener("change", function () {
    held = false;
    ask({ do: "seek", at_s: Number(slide.value) });
  });
  root.querySelector("[data-replay-slide]").append(slide);
}

/* What scrolls out of sight says on at the edge that this is a replay. */
function follow(root) {
  if (watched === root) return;
  if (watched) sight.unobserve(watched);
  watched = root;
  sight.observe(root);
}

/* Where it is changes all the time; only how it stands is for ears. */
function sayState(root, told) {
  if (root.dataset.state === told.state) return;
  const where = told.state === "playing" ? "" : " at " + chart.clock(told.at_s);
  put(root.querySelector("[data-replay-said]"), "Replay " + WORD[told.state] + where);
  root.dataset.state = told.state;
}

function fill(told) {
  const root = bar();
  if (!root) return;
  if (!slide || !slide.isConnected) makeSlide(root);
  follow(root);
  sayState(root, told);
  root.querySelector('[data-replay-do="toggle"]').textContent = told.state === "paused" || told.state === "ended" ? "Go on" : "Pause";
  root.querySelector('[data-replay-do="toggle"]').disabled = told.state === "ended";
  const length = told.length_s === null ? "" : " of " + chart.clock(told.length_s);
  put(root.querySelector("[data-replay-where]"), chart.clock(told.at_s) + length + ", " + WORD[told.state]);
  put(document.querySelector("[data-replay-tag]"), "Replay " + chart.clock(told.at_s));
  root.querySelectorAll("[data-replay-speed]").forEach(function (button) {
    button.setAttribute("aria-pressed", String(Number(button.dataset.replaySpeed) === told.speed));
  });
  if (told.length_s !== null) slide.max = String(Math.max(told.length_s, told.at_s));
  slide.hidden = told.length_s === null;
  if (!held) slide.value = String(told.at_s);
  slide.setAttribute("aria-valuetext", chart.clock(Number(slide.value)) + length);
  const list = root.querySelector("[data-replay-verdicts]");
  list.hidden = told.verdicts.length === 0;
  if (list.children.length !== told.verdicts.length || list.textContent !== told.verdicts.join("")) {
    list.replaceChildren(...told.verdicts.map(function (text) { return make("li", "", text); }));
  }
}

function say(text) { put(bar().querySelector("[data-replay-where]"), text); }

function ask(request) {
  send("/replay", request)
    .then(function (got) {
      if (got.ok) fill(got.answer);
      else say(got.answer.sentence);
    })
    .catch(function () { say(AWAY); });
}

function look() {
  if (!bar() || document.hidden) return;
  fetch("/replay", { cache: "no-store" })
    .then(function (answer) { return answer.ok ? answer.json() : null; })
    .then(function (told) { if (told) fill(told); })
    .catch(function () { say(AWAY); });
}

document.addEventListener("click", function (click) {
  const button = click.target.closest("[data-replay-do], [data-replay-speed]");
  if (!button) return;
  const does = button.dataset.replayDo;
  if (does === "toggle") ask({ do: bar().dataset.state === "paused" ? "play" : "pause" });
  else if (does === "again") ask({ do: "seek", at_s: 0 });
  else if (does) ask({ do: does });
  else ask({ do: "speed", speed: Number(button.dataset.replaySpeed) });
});
window.setInterval(look, EVERY_MS);

/* The list of warnings and findings, with what to do, and the operator's buttons. */
import { feed, make, put, strokes } from "./start.js";

const SHELVE_MINUTES = 15;

function act(pressed, ids, what) {
  pressed.disabled = true;
  feed.actOnAll(ids, what)
    .catch(function (error) { say(error.message || "That did not reach pilotlamp."); })
    .then(function () { pressed.disabled = false; });
}

let said = null;
function say(sentence) {
  const place = document.querySelector("[data-marking] .said");
  if (!place) return;
  put(place, sentence);
  window.clearTimeout(said);
  said = window.setTimeout(function () { put(place, ""); }, 8000);
}

function button(text, title, onClick) {
  const made = make("button", "", text);
  made.type = "button";
  made.title = title;
  made.addEventListener("click", function () { onClick(made); });
  return made;
}

function makeWarning() {
  const item = make("article", "notice");
  const top = make("div", "top");
  const buttons = make("div", "buttons");
  buttons.append(
    button("Seen", "Say that somebody is looking after it", function (own) {
      act(own, item.ids, { kind: "acknowledge" });
    }),
    button("Put aside", "Out of sight and silent for " + SHELVE_MINUTES + " minutes, then back by itself", function (own) {
      const aside = item.dataset.aside === "true";
      act(own, item.ids, aside ? { kind: "unshelve" } : { kind: "shelve", minutes: SHELVE_MINUTES });
    })
  );
  top.append(strokes(), make("b", "word"), buttons, make("span", "where"));
  item.append(top, make("p", "message"), make("p", "advice"));
  return item;
}

function fillWarning(item, warning) {
  // What the headline already says is not said twice.
  const head = feed.payload.headline;
  item.dataset.head = head.ids[0] !== warning.id ? "no" : head.sentence === warning.message ? "all" : "advice";
  item.ids = warning.ids;
  const aside = warning.shelved_s !== null;
  item.dataset.level = warning.level;
  item.dataset.aside = String(aside);
  item.dataset.seen = String(warning.acknowledged);
  put(item.querySelector(".word"), warning.word);
  const first = warning.first && feed.payload.warnings.length > 1 ? ", came first" : "";
  const often = warning.comes_and_goes ? ", comes and goes" : "";
  put(item.querySelector(".where"), warning.where + first + often + (aside ? ", aside for " + feed.span(warning.shelved_s) : ", " + feed.span(warning.since_s)));
  put(item.querySelector(".message"), warning.message);
  put(item.querySelector(".advice"), warning.advice);
  const buttons = item.querySelectorAll("button");
  put(buttons[0], warning.acknowledged ? "Seen ✓" : "Seen");
  buttons[0].disabled = warning.acknowledged;
  put(buttons[1], aside ? "Bring back" : "Put aside");
}

function makeFinding() {
  const item = make("article", "notice");
  const top = make("div", "top");
  top.append(strokes(), make("b", "word", "sensing"), make("span", "where"));
  item.append(top, make("p", "advice"));
  item.dataset.level = "doubt";
  return item;
}

function fillFinding(item, finding) {
  const when = finding.ago_s === null ? "" : ", " + feed.span(finding.ago_s) + " ago";
  put(item.querySelector(".where"), finding.where + ": " + finding.what + (finding.count > 1 ? " ×" + finding.count : "") + when);
  put(item.querySelector(".advice"), finding.check);
}

function makePast(past) {
  const item = make("p");
  const buttons = make("span", "buttons");
  buttons.append(
    button("Seen", "Say that somebody has looked after it", function (own) {
      act(own, past.unseen, { kind: "acknowledge" });
    })
  );
  const link = make("a", "what");
  link.href = past.link;
  item.append(link, buttons);
  return item;
}

function fillPast(item, past) {
  put(item.querySelector(".what"), feed.span(past.ago_s) + " ago, " + past.where + ": " + past.what);
  item.querySelector(".buttons").hidden = !past.unseen.length;
}

/* Elements are kept by number, so that a button under a finger stays where it is. */
function list(place, things, makeOne, fillOne) {
  if (!place) return;
  if (!place.kept) place.kept = new Map();
  const wanted = new Set(things.map(function (thing) { return thing.id; }));
  place.kept.forEach(function (item, id) {
    if (!wanted.has(id)) {
      item.remove();
      place.kept.delete(id);
    }
  });
  things.forEach(function (thing, k) {
    let item = place.kept.get(thing.id);
    if (!item) {
      item = makeOne(thing);
      place.kept.set(thing.id, item);
    }
    fillOne(item, thing);
    if (place.children[k] !== item) {
      place.insertBefore(item, place.children[k] || null);
      sizes.observe(item); // which stacks them all, for it asks to be told of a first size, too
    }
  });
}

/* Items stand one below the other by transforms: one that comes or goes lets the others glide and lays out nothing again. */
const GAP = 8;
const ITEMS = ".none, .notice, .past p, .marking, .meanings";
const sizes = new ResizeObserver(stack);

function stack() {
  const pile = document.querySelector(".pile");
  if (!pile) return;
  let top = 0;
  pile.querySelectorAll(ITEMS).forEach(function (item) {
    item.style.transform = "translateY(" + top + "px)";
    if (item.offsetHeight) top += item.offsetHeight + GAP;
  });
  pile.style.height = top + "px";
}

function makeMarking(place) {
  const form = make("form");
  const text = make("input");
  text.type = "text";
  text.maxLength = 200;
  text.placeholder = "what just happened";
  text.setAttribute("aria-label", "Remark for the time line");
  const send = make("button", "", "Mark");
  send.type = "submit";
  form.append(text, send);
  form.addEventListener("submit", function (event) {
    event.preventDefault();
    feed.act({ kind: "mark", text: text.value })
      .then(function () {
        say("Marked: " + text.value);
        text.value = "";
      })
      .catch(function (error) { say(error.message || "That did not reach pilotlamp."); });
  });
  const place_ = make("p", "said");
  place_.setAttribute("role", "status");
  place.append(form, place_);
}

function fill() {
  const payload = feed.payload;
  const warnings = document.querySelector("[data-warnings]");
  if (payload === null || !warnings) return;
  warnings.closest(".notices").dataset.old = String(!feed.isConnected());
  list(warnings, payload.warnings, makeWarning, fillWarning);
  list(document.querySelector("[data-findings]"), payload.findings, makeFinding, fillFinding);
  list(document.querySelector("[data-past]"), payload.past, makePast, fillPast);
  const none = document.querySelector("[data-none]");
  warnings.closest(".notices").dataset.any = String(payload.warnings.length + payload.findings.length > 0);
  none.hidden = payload.warnings.length > 0;
  put(none, payload.headline.level === "stale" ? "None known: figures are missing." : "None.");
  const marking = document.querySelector("[data-marking]");
  if (marking && !marking.children.length) makeMarking(marking);
  const pile = warnings.closest(".pile");
  if (!pile.style.height) pile.querySelectorAll(ITEMS).forEach(function (item) { sizes.observe(item); });
}

document.addEventListener("pilotlamp:tick", fill);
document.addEventListener("pilotlamp:page", fill);
document.addEventListener("pilotlamp:age", function () { if (!feed.isConnected()) fill(); });

/* The Stalls page: draws the list of what happened, asks for what is new as soon as the feed says that there is something, and
   sends what the operator did; the moment, the ring and the words are drawn by the page server. */
import { feed, make, put } from "./start.js";

const NOT_SOONER_MS = 250;
const AGES_MS = 1000;
let drawnFor = null; // the list element that was filled
let known = null; // the news that were asked for last
let asking = false;
let askedAt = 0;
let gotAt = 0;
let rows = [];
let opened = null; // the event that the server opens by itself

function place() { return document.getElementById("stall-list"); }

function chosen() { return new URLSearchParams(window.location.search).get("event"); }

function address(id) {
  const query = new URLSearchParams(window.location.search);
  query.set("event", id);
  return "/stalls?" + query;
}

function made(row) {
  const item = make("li");
  const link = make("a");
  item.dataset.event = row.id;
  link.append(make("strong"), make("span"), make("span", "quiet"));
  item.append(link);
  return item;
}

function fill(item, row) {
  const link = item.firstChild;
  const open = chosen() === null ? row.id === opened : chosen() === String(row.id);
  const ago = row.ago_s === null ? "" : feed.span(row.ago_s + (performance.now() - gotAt) / 1000) + " ago";
  item.className = row.fault ? "fault" : "deliberate";
  if (open) item.setAttribute("aria-current", "true");
  else item.removeAttribute("aria-current");
  if (link.getAttribute("href") !== address(row.id)) link.href = address(row.id);
  put(link.children[0], row.what);
  put(link.children[1], row.where);
  put(link.children[2], [row.at, ago, row.lasted].filter(Boolean).join(", "));
}

function draw() {
  const list = place();
  if (!list) return;
  if (!rows.length) {
    list.replaceChildren(make("p", "quiet", "Nothing so far."));
    return;
  }
  let ul = list.querySelector("ul");
  if (!ul) {
    ul = make("ul", "occurrences");
    list.replaceChildren(ul);
  }
  const have = new Map(Array.from(ul.children, function (item) { return [item.dataset.event, item]; }));
  const wanted = rows.map(function (row) {
    const item = have.get(String(row.id)) || made(row);
    have.delete(String(row.id));
    fill(item, row);
    return item;
  });
  have.forEach(function (item) { item.remove(); });
  wanted.forEach(function (item, k) { if (ul.children[k] !== item) ul.insertBefore(item, ul.children[k] || null); });
}

function ask(news) {
  const list = place();
  asking = true;
  askedAt = performance.now();
  fetch("/stalls/list?session=" + encodeURIComponent(list.dataset.session), { cache: "no-store" })
    .then(function (answer) { return answer.ok ? answer.json() : Promise.reject(new Error(answer.status)); })
    .then(function (told) {
      rows = told.rows;
      opened = told.opened;
      gotAt = performance.now();
      known = news;
      const isFirst = drawnFor !== list;
      drawnFor = list;
      draw();
      const open = list.querySelector('[aria-current="true"]');
      if (isFirst && open) open.parentElement.scrollTop = open.offsetTop - open.parentElement.offsetTop - 80;
      if (!list.dataset.session) window.dash_clientside.set_props("stall-news", { data: news });
    })
    .catch(function () { /* the server is away: the next tick asks again */ })
    .then(function () { asking = false; });
}

function look() {
  const list = place();
  if (!list || asking || !feed.payload || performance.now() - askedAt < NOT_SOONER_MS) return;
  const isNews = feed.payload.news !== known && !list.dataset.session;
  if (isNews || drawnFor !== list) ask(feed.payload.news);
}

document.addEventListener("pilotlamp:tick", look);
document.addEventListener("pilotlamp:page", look);
window.setInterval(function () { if (place() === drawnFor) draw(); }, AGES_MS);
window.addEventListener("popstate", function () { window.setTimeout(draw, 0); });

/* Another event opens without the page being made anew. */
document.addEventListener("click", function (click) {
  const link = click.target.closest("#stall-list a");
  if (!link || click.ctrlKey || click.metaKey || click.shiftKey || click.button) return;
  click.preventDefault();
  const id = link.parentElement.dataset.event;
  window.history.pushState(null, "", address(id));
  window.dash_clientside.set_props("stall-chosen", { data: Number(id) });
  draw();
  const moment = document.getElementById("stall-moment");
  if (moment.getBoundingClientRect().top > window.innerHeight * 0.8) moment.scrollIntoView({ behavior: "smooth" });
});

function openStallsOf(session) {
  window.location.assign(session ? "/stalls?session=" + encodeURIComponent(session) : "/stalls");
}

document.addEventListener("change", function (change) {
  if (change.target.id === "stall-choice") openStallsOf(change.target.value);
});

/* What was chosen before this script had come. */
const early = document.getElementById("stall-choice");
if (early && early.value && early.value !== new URLSearchParams(window.location.search).get("session")) openStallsOf(early.value);

document.addEventListener("click", function (click) {
  const button = click.target.closest("[data-station]");
  if (!button) return;
  button.disabled = true;
  feed.act({ kind: "mark", text: "the train passes the station" })
    .then(function () { put(button, "Places count from here ✓"); })
    .catch(function (error) { put(button, error.message || "That did not reach pilotlamp."); })
    .then(function () { window.setTimeout(function () { button.disabled = false; put(button, "The train passes the station now"); }, 4000); });
});

document.addEventListener("click", function (click) {
  const button = click.target.closest("[data-remember]");
  if (!button) return;
  const done = document.getElementById("stall-done");
  const where = document.getElementById("stall-where");
  const said = document.querySelector("[data-remembered]");
  const request = { kind: "mark", text: done.value };
  if (where.value) request.district = where.value;
  button.disabled = true;
  feed.act(request)
    .then(function () { done.value = ""; said.textContent = "Remembered."; })
    .catch(function (error) { said.textContent = error.message || "That did not reach pilotlamp."; })
    .then(function () { button.disabled = false; });
});

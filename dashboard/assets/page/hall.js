/* The hall: a tile for each station, worst first. All words come from the server and are set as text, never as markup. */
import { feed, make, put, strokes } from "./start.js";

let wanted = "";

function makeTile(station) {
  const tile = make("article", "station");
  const link = make("a", "", station.name);
  link.href = "/station" + station.query;
  const name = make("h2");
  name.append(link);
  const chip = make("span", "chip");
  chip.append(strokes(), make("span", "word"));
  const top = make("div", "top");
  top.append(name, chip);
  tile.append(top, make("p", "reason"), make("ul", "rows"), make("p", "foot"));
  return tile;
}

function makeRow() {
  const row = make("li");
  const rail = make("span", "rail");
  rail.setAttribute("aria-hidden", "true");
  rail.append(make("span"));
  row.append(make("span", "name"), rail, make("span", "amps"));
  return row;
}

function fillRow(row, district) {
  const stale = feed.isStale(district.age_s);
  const share = stale ? null : district.share;
  row.dataset.level = stale ? "stale" : district.level;
  put(row.children[0], district.name);
  const part = row.children[1].firstChild;
  part.style.width = Math.min(100, (share || 0) * 100) + "%";
  part.dataset.much = share >= 1 ? "over" : share >= 0.9 ? "near" : "";
  put(row.children[2], stale ? "stale" : district.amps + " A");
}

function fillTile(tile, station) {
  const age = feed.ageS(station.age_s);
  const old = station.level !== "rest" && age > feed.staleAfterS;
  tile.dataset.level = old && station.level === "well" ? "stale" : station.level;
  put(tile.querySelector(".word"), old && station.level === "well" ? "stale" : station.word);
  put(tile.querySelector(".reason"), station.reason + (station.more ? " (and " + station.more + " more)" : ""));
  const rows = tile.querySelector(".rows");
  while (rows.children.length > station.districts.length) rows.lastChild.remove();
  station.districts.forEach(function (district, k) {
    if (!rows.children[k]) rows.append(makeRow());
    fillRow(rows.children[k], district);
  });
  const told = [station.title, age === Infinity ? "no figures yet" : "data " + (age < 10 ? age.toFixed(1) + " s" : feed.span(age)) + " old", station.clock];
  put(tile.querySelector(".foot"), told.filter(Boolean).join(", "));
  const said = (station.name + " " + station.title + " " + station.districts.map(function (d) { return d.name; }).join(" ")).toLowerCase();
  tile.hidden = wanted !== "" && !said.includes(wanted);
}

/* Tiles are kept by station, so that a link under a finger stays what it is. */
function fill() {
  const place = document.querySelector("[data-stations]");
  const payload = feed.payload;
  if (!place || payload === null || !payload.stations) return;
  if (!place.kept) place.kept = new Map();
  const there = new Set(payload.stations.map(function (station) { return station.id; }));
  place.kept.forEach(function (tile, id) {
    if (!there.has(id)) {
      tile.remove();
      place.kept.delete(id);
    }
  });
  payload.stations.forEach(function (station, k) {
    let tile = place.kept.get(station.id);
    if (!tile) {
      tile = makeTile(station);
      place.kept.set(station.id, tile);
    }
    fillTile(tile, station);
    if (place.children[k] !== tile) place.insertBefore(tile, place.children[k] || null);
  });
  // On a wall the stations share out the whole screen.
  place.style.setProperty("--across", String(Math.max(1, Math.ceil(Math.sqrt(payload.stations.length)))));
  document.querySelector("[data-no-stations]").hidden = payload.stations.length > 0;
  put(document.querySelector("[data-more-stations]"), payload.more_stations);
}

document.addEventListener("input", function (event) {
  if (!event.target.closest("[data-find]")) return;
  wanted = event.target.value.trim().toLowerCase();
  fill();
});
document.addEventListener("pilotlamp:tick", fill);
document.addEventListener("pilotlamp:age", fill);
document.addEventListener("pilotlamp:page", fill);

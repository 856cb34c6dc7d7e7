/* Forms of the page before the show (bench check, terminals, what could be bought): makes their entries, sends them, says what came of it,
   and shows the new state. */
import { AWAY, make, send } from "./start.js";

function keep(form, path, body) {
  const said = form.querySelector("[data-said]");
  said.textContent = "Keeping …";
  send(path, body).then(function (got) {
    said.textContent = got.answer.sentence;
    if (got.ok) window.setTimeout(function () { window.location.reload(); }, 600);
  }).catch(function () { said.textContent = "Not kept: " + AWAY; });
}

function entry(key, mode, label) {
  const input = make("input");
  input.dataset.key = key;
  input.inputMode = mode;
  input.setAttribute("aria-label", label);
  input.autocomplete = "off";
  return input;
}

function valueOf(form, key) {
  const found = form.querySelector("[data-key=" + CSS.escape(key) + "]");
  return found ? found.value.trim() : "";
}

/* A figure with a point or a comma; null where there is none. */
function figureOf(form, key) {
  const said = valueOf(form, key).replace(",", ".").replace(/v$/i, "");
  return said === "" || isNaN(Number(said)) ? null : Number(said);
}

/* What was chosen, or typed where it stands. */
function answers(form) {
  const found = {};
  form.querySelectorAll("[data-key]").forEach(function (each) {
    found[each.dataset.key] = each.tagName === "SELECT" ? each.value : each.textContent.trim();
  });
  return found;
}

function words(form, key) {
  return valueOf(form, key).split(/[\s,;]+/).filter(Boolean).slice(0, 10);
}

/* Rounds with the meter: all throttles low, then each one up. */
function rounds(form) {
  return [""].concat(words(form, "throttles").slice(0, 9));
}

function pairs(list) {
  const found = [];
  list.forEach(function (one, k) { list.slice(k + 1).forEach(function (other) { found.push([one, other]); }); });
  return found;
}

/* For each pair of terminals an entry a round; what was typed already stays. */
function drawPairs(form) {
  const box = form.querySelector("[data-pairs]");
  const typed = {};
  box.querySelectorAll("input").forEach(function (input) { typed[input.dataset.key] = input.value; });
  box.textContent = "";
  pairs(words(form, "names")).forEach(function (pair) {
    const row = make("div", "pair");
    const named = make("span", "", pair[0] + " and " + pair[1]);
    row.append(named);
    rounds(form).forEach(function (throttle) {
      const when = throttle ? throttle + " up" : "all low";
      const input = entry(throttle + " " + pair.join("-"), "decimal", "Volts between " + named.textContent + ", " + when);
      input.placeholder = when + ", V";
      input.value = typed[input.dataset.key] || "";
      row.append(input);
    });
    box.append(row);
  });
}

function candidate(form) {
  const made = { name: valueOf(form, "name"), current: valueOf(form, "current") };
  ["price", "rated_va", "max_volts"].forEach(function (key) { made[key] = figureOf(form, key); });
  ["outputs", "count"].forEach(function (key) { made[key] = figureOf(form, key) || 1; });
  const missing = ["price", "rated_va", "max_volts"].some(function (key) { return made[key] === null; });
  return made.name === "" || missing ? null : { add: made };
}

function terminals(form) {
  const list = words(form, "names");
  const reading = rounds(form).map(function (throttle) {
    const volts = {};
    pairs(list).forEach(function (pair) {
      const figure = figureOf(form, throttle + " " + pair.join("-"));
      if (figure !== null) volts[pair.join("-")] = figure;
    });
    return throttle ? { throttle: throttle, volts: volts } : { volts: volts };
  });
  const made = { supply: valueOf(form, "supply"), terminals: list, reading: reading, rails: Number(valueOf(form, "rails")) };
  if (valueOf(form, "meter")) made.meter = valueOf(form, "meter");
  return list.length < 2 || Object.keys(reading[0].volts).length === 0 ? null : made;
}

document.addEventListener("submit", function (event) {
  const form = event.target, marks = form.dataset || {};
  if (marks.candidate !== undefined || marks.terminals !== undefined) {
    event.preventDefault();
    const body = marks.candidate !== undefined ? candidate(form) : terminals(form);
    if (body === null) form.querySelector("[data-said]").textContent = "Fill in every entry with a figure first.";
    else keep(form, marks.candidate !== undefined ? "/candidate" : "/terminals", body);
  } else if (marks.aside !== undefined) {
    event.preventDefault();
    const said = answers(form);
    keep(form, "/set-aside", { supply: marks.aside, use: marks.use === "true", reason: said.reason || "", by: said.by || "" });
  } else if (marks.bench !== undefined) {
    event.preventDefault();
    keep(form, "/bench", { supply: marks.bench, answers: answers(form) });
  }
});

document.addEventListener("click", function (event) {
  const button = event.target.closest("[data-take-out]");
  if (!button) return;
  const form = button.closest("details").querySelector("form[data-candidate]");
  keep(form, "/candidate", { remove: button.dataset.takeOut });
});

document.addEventListener("input", function (event) {
  if (event.target.dataset && ["names", "throttles"].includes(event.target.dataset.key)) drawPairs(event.target.closest("form"));
});

function fresh() {
  document.querySelectorAll("[data-entry]:not([data-made])").forEach(function (place) {
    place.dataset.made = "true";
    place.append(entry(place.dataset.entry, place.dataset.mode, place.dataset.label));
  });
}
document.addEventListener("pilotlamp:page", fresh);
fresh();

/* Forms of the page before the show: makes their entries, sends them, says what came of it, and shows the new state. */
(function () {
  "use strict";

  function send(form, path, body) {
    const said = form.querySelector("[data-said]");
    said.textContent = "Keeping …";
    fetch(path, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Pilotlamp": "1" },
      body: JSON.stringify(body),
    })
      .then(function (response) {
        return response.json().then(function (answer) {
          said.textContent = answer.sentence;
          if (response.ok) window.setTimeout(function () { window.location.reload(); }, 600);
        });
      })
      .catch(function () { said.textContent = "Not kept: pilotlamp did not answer. Is it still running?"; });
  }

  function entry(key, mode, label) {
    const input = document.createElement("input");
    input.dataset.key = key;
    input.inputMode = mode;
    input.setAttribute("aria-label", label);
    input.autocomplete = "off";
    return input;
  }

  function valueOf(form, key) {
    const found = form.querySelector("[data-key='" + key + "']");
    return found ? found.value.trim() : "";
  }

  /* A figure with a point or a comma; null where there is none. */
  function figureOf(form, key) {
    const said = valueOf(form, key).replace(",", ".").replace(/v$/i, "");
    return said === "" || isNaN(Number(said)) ? null : Number(said);
  }

  function names(form) {
    return valueOf(form, "names").split(/[\s,;]+/).filter(Boolean).slice(0, 7);
  }

  function pairs(list) {
    const found = [];
    list.forEach(function (one, k) { list.slice(k + 1).forEach(function (other) { found.push([one, other]); }); });
    return found;
  }

  /* Two entries for each pair of terminals; what was typed already stays. */
  function drawPairs(form) {
    const box = form.querySelector("[data-pairs]");
    const typed = {};
    box.querySelectorAll("input").forEach(function (input) { typed[input.dataset.key] = input.value; });
    box.textContent = "";
    pairs(names(form)).forEach(function (pair) {
      const row = document.createElement("div");
      row.className = "pair";
      const words = document.createElement("span");
      words.textContent = pair[0] + " and " + pair[1];
      row.append(words);
      [["low", "throttle low"], ["high", "throttle up"]].forEach(function (when) {
        const input = entry(when[0] + " " + pair.join(" "), "decimal", "Volts between " + words.textContent + ", " + when[1]);
        input.placeholder = when[0] + ", V";
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
    const list = names(form), all = pairs(list);
    const volts = function (when) { return all.map(function (pair) { return figureOf(form, when + " " + pair.join(" ")); }); };
    const made = { supply: valueOf(form, "supply"), names: list, low: volts("low"), high: volts("high"), rails: Number(valueOf(form, "rails")) };
    return list.length < 2 || made.low.concat(made.high).includes(null) ? null : made;
  }

  document.addEventListener("submit", function (event) {
    const form = event.target, marks = form.dataset || {};
    if (marks.candidate !== undefined || marks.terminals !== undefined) {
      event.preventDefault();
      const body = marks.candidate !== undefined ? candidate(form) : terminals(form);
      if (body === null) form.querySelector("[data-said]").textContent = "Fill in every entry with a figure first.";
      else send(form, marks.candidate !== undefined ? "/candidate" : "/terminals", body);
    } else if (marks.aside !== undefined) {
      event.preventDefault();
      const typed = function (key) {
        const place = form.querySelector("[data-key='" + key + "']");
        return place ? place.textContent.trim() : "";
      };
      send(form, "/set-aside", { supply: marks.aside, use: marks.use === "true", reason: typed("reason"), by: typed("by") });
    }
  });

  document.addEventListener("click", function (event) {
    const button = event.target.closest("[data-take-out]");
    if (!button) return;
    const form = button.closest("details").querySelector("form[data-candidate]");
    send(form, "/candidate", { remove: button.dataset.takeOut });
  });

  document.addEventListener("input", function (event) {
    if (event.target.dataset && event.target.dataset.key === "names") drawPairs(event.target.closest("form"));
  });

  /* The page is drawn after this script runs. */
  new MutationObserver(function () {
    document.querySelectorAll("[data-entry]:not([data-made])").forEach(function (place) {
      place.dataset.made = "true";
      place.append(entry(place.dataset.entry, place.dataset.mode, place.dataset.label));
    });
  }).observe(document.documentElement, { childList: true, subtree: true });
})();

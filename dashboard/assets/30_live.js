/* Fills in the figures. All words come from the server and are set as text, never as markup. */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const put = feed.put;

  function mark(element, name, value) {
    if (element && element.dataset[name] !== value) element.dataset[name] = value;
  }

  function slot(element, name) {
    if (!element.slots) element.slots = {};
    let found = element.slots[name];
    if (!found || !found.isConnected) {
      found = element.querySelector('[data-slot="' + name + '"]');
      element.slots[name] = found;
    }
    return found;
  }

  function renew(element) { element.replaceWith(element.cloneNode(true)); }

  /* Digits for digits: what is as wide as it was. */
  function shape(text) { return text.replace(/\d/g, "0"); }

  /* A text of another width would push what stands beside it: it is drawn as a new element instead. */
  function fit(holder, name, text) {
    const shown = slot(holder, name);
    if (!shown || shown.textContent === text) return;
    if (shape(shown.textContent) !== shape(text)) {
      renew(shown.closest(".big, .amps, .chip") || shown);
    }
    put(slot(holder, name), text);
    mark(slot(holder, name), "length", text.length > (name === "amps" ? 4 : 8) ? "long" : "short");
  }

  function span(seconds) {
    const whole = Math.max(0, Math.round(seconds));
    if (whole < 60) return whole + " s";
    if (whole < 3600) return Math.floor(whole / 60) + " min" + (whole < 600 && whole % 60 ? " " + (whole % 60) + " s" : "");
    return Math.floor(whole / 3600) + " h " + Math.floor((whole % 3600) / 60) + " min";
  }
  feed.span = span;

  function percent(share, atLeast) {
    return share === null ? "–" : (atLeast ? "≥\u00a0" : "") + Math.round(share * 100) + " %";
  }

  /* What the card itself says is not said twice: its name, which limit of the supply it is, the same amps in other words. */
  function shortRoom(card, words) {
    return words.split(";")[0].replace(" on " + nameOf(card), "").replace(/ \([^)]*\)/, "").replace(/: [\d.]+ A more fit$/, "");
  }

  function nameOf(place) { return place.querySelector("h2").textContent; }

  function fillCard(card, district) {
    const stale = feed.isStale(district.age_s);
    const age = feed.ageS(district.age_s);
    mark(card, "level", stale ? "stale" : district.level);
    mark(card, "good", String(district.good));
    fit(card, "word", !stale ? district.word : age === Infinity ? "no figures yet" : "stale, " + span(age) + " old");
    for (const name of ["amps", "volts", "va"]) fit(card, name, district[name]);
    put(slot(card, "fits"), stale ? "" : shortRoom(card, district.fits));
    const gauge = slot(card, "gauge");
    const share = stale ? null : district.share;
    fit(card, "share", percent(share, district.clipped));
    know(gauge, share !== null);
    if (district.limit) put(slot(card, "limit"), "of " + district.limit.replace(" to " + nameOf(card), "").replace(/ [^ ]*( [^ ]*)*\//, " "));
    const shown = slot(card, "fill");
    shown.style.width = Math.min(100, (share || 0) * 100) + "%";
    mark(shown, "much", stale ? "" : MUCH[district.state] || "");
  }

  const MUCH = { "overloaded": "over", "near-limit": "near", "short": "over" };

  const LIMIT_AT = 0.75; // where on the bar the limit stands; what is beyond it is drawn up to a third more
  const WIDE = 0.07;

  /* How an open protection closes. */
  function closing(supply) { return supply.state === "no-power" ? supply.heat_words.split(": ")[1] || "" : ""; }

  function leftOf(supply) {
    if (supply.left_amps === null) return "";
    const isLeft = supply.left_amps >= 0;
    const bound = supply.unread || supply.clipped ? (isLeft ? "≤\u00a0" : "≥\u00a0") : "";
    return bound + Math.abs(supply.left_amps).toFixed(1) + " A " + (isLeft ? "left" : "too much");
  }

  /* What was known once keeps its place. */
  function know(place, known) { if (known || place.dataset.known) mark(place, "known", String(known)); }

  function fillHeat(place, supply) {
    know(place, supply.heat_words !== "");
    fit(place, "heat", percent(supply.heat));
    const shown = slot(place, "heat_fill");
    shown.style.width = Math.min(100, (supply.heat || 0) * 100) + "%";
    mark(shown, "much", supply.heat >= 0.9 ? "over" : supply.heat >= 0.8 ? "near" : "");
  }

  function fillSupply(panel, supply, connected) {
    const level = connected ? supply.level : "stale";
    mark(panel, "level", level);
    fit(panel, "word", connected ? supply.word.split(",")[0].split(": ").pop() : "stale"); // the countdown stands in the headline
    const share = connected ? supply.share : null;
    put(slot(panel, "share"), percent(share, supply.unread || supply.clipped));
    const name = nameOf(panel);
    put(slot(panel, "limit"), share === null || !supply.limit ? "" : "of " + supply.limit.replace(name + " ", "").replace(name + "/", ""));
    fit(panel, "left", share !== null ? leftOf(supply) : connected ? closing(supply) : "");
    fillHeat(slot(panel, "hot"), connected ? supply : { heat: null, heat_words: "" });
    let from = 0;
    supply.outputs.forEach(function (output, k) {
      const segment = slot(panel, "output-" + k);
      const row = slot(panel, "row-" + k);
      if (segment) {
        const width = output.of_all * Math.min((share || 0) * LIMIT_AT, 1);
        // Moved by a transform, which lays out nothing again.
        segment.style.cssText = "--from: " + from.toFixed(4) + "; width: " + (width * 100).toFixed(2) + "%";
        from += width;
        mark(segment, "wide", String(width > WIDE));
      }
      if (row) {
        fit(row, "amps", output.amps);
        mark(row, "over", String(output.share !== null && output.share >= 1));
      }
    });
  }

  function fillHeadline(payload, connected) {
    const section = document.querySelector("[data-headline]");
    const headline = payload && connected ? payload.headline : null;
    const level = headline ? headline.level : "stale";
    mark(section, "level", level);
    mark(document.querySelector(".frame"), "level", level);
    if (headline) say(section, headline.sentence, headline.more, [headline.opens !== null, headline.latched, headline.why]);
    else if (payload) {
      say(section, "No answer from pilotlamp for " + span(feed.sinceS()), "Everything below is old. Is the program still running, and this device still on its network?");
    }
    const opens = headline ? headline.opens : null;
    slot(section, "opening").hidden = opens === null;
    if (opens) {
      const words = opens.words.split(" (")[0];
      const isSpan = words.startsWith("in about ");
      put(slot(section, "opening").firstElementChild, isSpan ? "opens in about" : "opens");
      fit(section, "opens", isSpan ? words.slice("in about ".length) : words);
      drain(section, headline);
    }
    fillHeadlineDoing(section, headline);
  }

  const LONG = 96; // large letters that two lines of a laptop hold beside a countdown
  let kind = ""; // the shape of what the headline says, and what stands beside it

  function say(section, sentence, more, isBeside) {
    // Another sentence is other elements; one whose figures count on stays where it is.
    const newKind = shape(sentence + more + isBeside);
    if (newKind !== kind) section.querySelectorAll(".said > *").forEach(renew);
    kind = newKind;
    const parts = feed.parted(sentence);
    put(slot(section, "sentence"), parts[0]);
    put(slot(section, "rest"), parts[1]);
    put(slot(section, "more"), more);
    mark(section, "length", sentence.length > LONG ? "long" : "short");
  }

  let full = { id: null, s: 1 }; // what the countdown began with: the whole arc

  function drain(section, headline) {
    const inS = headline.opens.in_s;
    if (full.id !== headline.ids[0]) full = { id: headline.ids[0], s: 1 };
    full.s = Math.max(full.s, inS);
    slot(section, "arc").style.setProperty("--left", String(Math.round((inS / full.s) * 100)));
  }

  /* What can be done from the headline: say that somebody has seen what is over; see why. */
  function fillHeadlineDoing(section, headline) {
    const isLatched = Boolean(headline && headline.latched);
    if (section.querySelector("[data-head-seen]").hidden === isLatched) section.querySelectorAll(".acts > *").forEach(renew);
    const seen = section.querySelector("[data-head-seen]");
    const why = section.querySelector("[data-why]");
    seen.hidden = !isLatched;
    seen.ids = headline ? headline.ids : [];
    why.hidden = !headline || !headline.why || feed.source !== "";
    if (headline && headline.why) why.href = headline.why;
  }

  document.addEventListener("click", function (click) {
    const fold = click.target.closest("[data-unfold], [data-headline] .said");
    if (fold) {
      const section = fold.closest("[data-headline]");
      section.querySelector("[data-unfold]").setAttribute("aria-expanded", String(section.toggleAttribute("data-open")));
    }
    const seen = click.target.closest("[data-head-seen]");
    if (seen) feed.actOnAll(seen.ids, { kind: "acknowledge" }).catch(function () { /* it stays, and says so by staying */ });
  });

  function fillStates(payload, connected) {
    const said = (payload.recording.sentence || "").replace(/\.$/, "");
    if (shape(document.querySelector("[data-recording]").textContent) !== shape(said)) {
      document.querySelectorAll(".states > :not(.alerts)").forEach(renew); // they stand at the right edge
    }
    const age = document.querySelector("[data-age]");
    const districts = payload.oldest_s === undefined ? payload.districts : [{ age_s: payload.oldest_s }];
    const ages = districts.map(function (d) { return feed.ageS(d.age_s); }).filter(isFinite);
    const oldest = ages.length ? Math.max.apply(null, ages) : Infinity;
    mark(age, "stale", String(oldest > feed.staleAfterS));
    const replay = feed.isReplay() && oldest <= feed.staleAfterS;
    mark(age, "replayed", String(replay));
    const old = oldest === Infinity ? "no data yet" : "data " + (oldest < 10 ? oldest.toFixed(1) + " s" : span(oldest)) + " old";
    put(age, replay ? "replay, not live" : old);
    const ports = document.querySelector("[data-ports]");
    const bad = payload.ports.filter(function (port) { return !port.well; });
    ports.hidden = !payload.ports.length;
    mark(ports, "well", String(!bad.length && connected));
    const names = payload.ports.map(function (port) { return port.board; }).join(", ");
    const well = payload.ports.length > 1 ? payload.ports.length + " boards" : names;
    put(ports, bad.length ? "board " + bad[0].board + ": " + bad[0].word : well);
    const recording = document.querySelector("[data-recording]");
    recording.hidden = payload.recording.sentence === null;
    mark(recording, "well", String(payload.recording.well && connected));
    put(recording, said);
  }

  function fill() {
    const payload = feed.payload;
    if (payload === null || !document.querySelector("[data-headline]")) return;
    const connected = feed.isConnected();
    fillHeadline(payload, connected);
    fillStates(payload, connected);
    document.querySelectorAll("[data-district]").forEach(function (card) {
      const district = payload.districts[Number(card.dataset.district)];
      if (district) fillCard(card, district);
    });
    document.querySelectorAll("[data-supply]").forEach(function (panel) {
      const supply = payload.supplies[Number(panel.dataset.supply)];
      if (supply) fillSupply(panel, supply, connected);
    });
  }

  document.addEventListener("pilotlamp:tick", fill);
  document.addEventListener("pilotlamp:age", fill);

  // A page that Dash has just put in is filled at once.
  let shown = null;
  new MutationObserver(function () {
    const main = document.querySelector("#content main");
    if (main === shown) return;
    shown = main;
    fill();
    document.dispatchEvent(new CustomEvent("pilotlamp:page"));
  }).observe(document.body, { childList: true, subtree: true });
})();

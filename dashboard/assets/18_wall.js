/* The wall, for a screen without anyone at it: /?wall shows the page for three metres; /?wall=10 of a hall turns through the hall and
   each trouble spot, ten seconds for each. */
(function () {
  "use strict";

  const SHORTEST_S = 2;
  const asked = new URLSearchParams(window.location.search);
  if (!asked.has("wall")) return;
  // A phone that was given a wall's address keeps the page that can be read on it.
  const wide = window.matchMedia("(min-width: 720px)");
  const show = function () { document.documentElement.toggleAttribute("data-wall", wide.matches); };
  wide.addEventListener("change", show);
  show();
  const shownS = Number(asked.get("wall"));
  if (!(shownS >= SHORTEST_S)) return;

  function here() {
    const found = new URLSearchParams();
    for (const name of ["hall", "station"]) if (asked.get(name) !== null) found.set(name, asked.get(name));
    return found.get("station") === null ? "" : "?" + found.toString();
  }

  /* A new page each time: a screen that runs for a weekend gathers nothing. */
  function turn() {
    fetch("/feed/spots", { cache: "no-store" })
      .then(function (answer) { return answer.json(); })
      .then(function (spots) {
        const own = here();
        const next = own === "" ? spots[0] : spots[spots.indexOf(own) + 1];
        const gone = own !== "" && spots.indexOf(own) < 0;
        if (next === undefined || gone) {
          if (own !== "") window.location.replace("/?wall=" + shownS);
          else window.setTimeout(turn, shownS * 1000);
        } else {
          window.location.replace("/station" + next + "&wall=" + shownS);
        }
      })
      .catch(function () { window.setTimeout(turn, shownS * 1000); /* the page itself says that nobody answers */ });
  }

  window.setTimeout(turn, shownS * 1000);
})();

/* The wall, for a screen that nobody touches: the hall as a whole, then each trouble spot, and again. */
(function () {
  "use strict";

  const HALL_MS = 12000;
  const SPOT_MS = 10000;
  const asked = new URLSearchParams(window.location.search);
  if (asked.get("wall") !== "1") return;

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
          if (own !== "") window.location.replace("/?wall=1");
          else window.setTimeout(turn, HALL_MS);
        } else {
          window.location.replace("/station" + next + "&wall=1");
        }
      })
      .catch(function () { window.setTimeout(turn, SPOT_MS); /* the page itself says that nobody answers */ });
  }

  document.documentElement.dataset.wall = "true";
  window.setTimeout(turn, here() === "" ? HALL_MS : SPOT_MS);
})();

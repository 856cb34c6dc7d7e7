/* The Stalls page: sends what the operator did; everything else is drawn by the page server. */
(function () {
  "use strict";

  document.addEventListener("click", function (click) {
    const button = click.target.closest("[data-remember]");
    if (!button) return;
    const done = document.getElementById("stall-done");
    const where = document.getElementById("stall-where");
    const said = document.querySelector("[data-remembered]");
    const wish = { kind: "mark", text: done.value };
    if (where.value) wish.district = where.value;
    button.disabled = true;
    window.pilotlamp.act(wish)
      .then(function () { done.value = ""; said.textContent = "Remembered."; })
      .catch(function (error) { said.textContent = error.message || "That did not reach pilotlamp."; })
      .then(function () { button.disabled = false; });
  });
})();

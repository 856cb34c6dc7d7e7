/* The bench check's form: sends the answers, says what came of it, and shows the new verdict. */
(function () {
  "use strict";

  function answers(form) {
    const found = {};
    form.querySelectorAll("[data-key]").forEach(function (entry) {
      found[entry.dataset.key] = entry.tagName === "SELECT" ? entry.value : entry.textContent.trim();
    });
    return found;
  }

  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (!form.dataset || form.dataset.bench === undefined) return;
    event.preventDefault();
    const said = form.querySelector("[data-said]");
    said.textContent = "Keeping …";
    fetch("/bench", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Pilotlamp": "1" },
      body: JSON.stringify({ supply: form.dataset.bench, answers: answers(form) }),
    })
      .then(function (response) {
        return response.json().then(function (answer) {
          said.textContent = answer.sentence;
          if (response.ok) window.setTimeout(function () { window.location.reload(); }, 600);
        });
      })
      .catch(function () { said.textContent = "Not kept: pilotlamp did not answer. Is it still running?"; });
  });
})();

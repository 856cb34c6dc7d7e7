/* Entering: by passphrase, or by the secret behind '#' of the one-time link, which leads on to the page. */
(function () {
  "use strict";

  const form = document.getElementById("enter");
  if (!form || window.location.pathname !== "/enter") return;
  const said = document.getElementById("entered");

  function send(address, what) {
    said.textContent = "…";
    return fetch(address, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Pilotlamp": "enter" },
      body: JSON.stringify(what),
    })
      .then(function (answer) {
        return answer.json().then(function (told) {
          said.textContent = told.sentence;
          return answer.ok;
        });
      })
      .catch(function () { said.textContent = "That did not reach pilotlamp."; });
  }

  form.addEventListener("submit", function (event) {
    event.preventDefault();
    send("/enter", { passphrase: form.elements.passphrase.value });
    form.elements.passphrase.value = "";
  });
  document.getElementById("leave").addEventListener("click", function () { send("/leave", {}); });

  const secret = window.location.hash.slice(1);
  if (secret) {
    window.history.replaceState(null, "", "/enter");
    send("/enter", { secret: secret }).then(function (entered) { if (entered) window.location.replace("/"); });
  }
})();

/* Entering: by passphrase, or by the secret behind '#' of the one-time link, which leads on to the page. */
import { send } from "./start.js";

const form = document.getElementById("enter");
const said = document.getElementById("entered");

function tell(address, what) {
  said.textContent = "…";
  return send(address, what, "enter")
    .then(function (got) {
      said.textContent = got.answer.sentence;
      return got.ok;
    })
    .catch(function () { said.textContent = "That did not reach pilotlamp."; });
}

form.addEventListener("submit", function (event) {
  event.preventDefault();
  tell("/enter", { passphrase: form.elements.passphrase.value });
  form.elements.passphrase.value = "";
});
document.getElementById("leave").addEventListener("click", function () { tell("/leave", {}); });

const secret = window.location.hash.slice(1);
if (secret) {
  window.history.replaceState(null, "", "/enter");
  tell("/enter", { secret: secret }).then(function (entered) { if (entered) window.location.replace("/"); });
}

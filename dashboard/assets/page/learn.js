/* Learning a draw: asks what was drawn lately, shows it, keeps just that with the layout where wanted. */
import { AWAY, send } from "./start.js";

function requestOf(form) {
  const load = form.querySelector("[data-learn-load] select, select[data-learn-load]");
  const also = Array.from(form.querySelectorAll("[data-also]"))
    .filter(function (box) { return box.dataset.on === "true" && !box.hidden; })
    .map(function (box) { return box.dataset.also; });
  return { load: load.value, seconds: Number(form.querySelector("select[data-learn-span]").value), also: also };
}

/* Only other loads of the same district can be on it too. */
function showOthers(form) {
  const load = form.querySelector("select[data-learn-load]");
  const district = load.selectedOptions[0] ? load.selectedOptions[0].dataset.district : "";
  form.querySelectorAll("[data-also]").forEach(function (box) {
    box.hidden = box.dataset.district !== district || box.dataset.also === load.value;
  });
  forget(form);
}

function forget(form) {
  delete form.dataset.seen;
  form.querySelector("[data-keep]").disabled = true;
}

document.addEventListener("change", function (event) {
  const form = event.target.closest && event.target.closest("form[data-learn]");
  if (form) showOthers(form);
});

document.addEventListener("click", function (event) {
  const box = event.target.closest("[data-also]");
  const form = event.target.closest("form[data-learn]");
  if (!form) return;
  if (box) {
    box.dataset.on = box.dataset.on === "true" ? "false" : "true";
    box.setAttribute("aria-pressed", box.dataset.on);
    forget(form);
    return;
  }
  if (!event.target.closest("[data-keep]")) return;
  const request = JSON.parse(form.dataset.seen);
  request.keep = true;
  const said = form.querySelector("[data-said]");
  send("/learn", request).then(function (got) {
    said.textContent = got.answer.sentence;
    if (got.ok) window.setTimeout(function () { window.location.reload(); }, 600);
  }).catch(function () { said.textContent = "Not kept: " + AWAY; });
});

document.addEventListener("submit", function (event) {
  const form = event.target;
  if (!form.dataset || form.dataset.learn === undefined) return;
  event.preventDefault();
  const request = requestOf(form), said = form.querySelector("[data-said]");
  forget(form);
  said.textContent = "Looking …";
  send("/learn", request).then(function (got) {
    said.textContent = got.answer.sentence;
    if (!got.ok) return;
    request.until_s = got.answer.until_s;
    form.dataset.seen = JSON.stringify(request);
    form.querySelector("[data-keep]").disabled = form.dataset.learn !== "true";
  }).catch(function () { said.textContent = "Not learnt: " + AWAY; });
});

function fresh() {
  document.querySelectorAll("form[data-learn]:not([data-ready])").forEach(function (form) {
    form.dataset.ready = "true";
    showOthers(form);
  });
}
document.addEventListener("pilotlamp:page", fresh);
fresh();

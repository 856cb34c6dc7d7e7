/* Steps before the show: the one that the address names is marked. Ticks of the list: kept on this device for the day, counted at their step. */
import { put } from "./start.js";

const today = new Date().toDateString();
const KEPT = "pilotlamp-ticks";

function kept() {
  try {
    const found = JSON.parse(window.localStorage.getItem(KEPT));
    return found && found.day === today ? found.ticked : [];
  } catch { return []; }
}

function markStep() {
  const steps = Array.from(document.querySelectorAll("[data-step]"));
  const here = steps.find(function (step) { return step.hash === window.location.hash; }) || steps[0];
  steps.forEach(function (step) { if (step === here) step.setAttribute("aria-current", "step"); else step.removeAttribute("aria-current"); });
  // The page comes after its address: a step that was not there yet is gone to once it is.
  if (here && here.hash === window.location.hash && !document.querySelector(".step:target")) window.location.replace(here.hash);
}

function show() {
  markStep();
  const ticked = new Set(kept());
  const all = document.querySelectorAll("[data-tick]");
  all.forEach(function (button) {
    const value = String(ticked.has(button.dataset.tick));
    if (button.getAttribute("aria-checked") !== value) button.setAttribute("aria-checked", value);
  });
  const step = document.querySelector('[data-step="list"]');
  if (!step || !all.length) return;
  const done = Array.from(all).filter(function (button) { return ticked.has(button.dataset.tick); }).length;
  step.dataset.done = String(done === all.length);
  put(step.lastChild, done + " of " + all.length + " ticked");
}

document.addEventListener("click", function (click) {
  const button = click.target.closest("[data-tick]");
  if (!button) return;
  const ticked = new Set(kept());
  if (!ticked.delete(button.dataset.tick)) ticked.add(button.dataset.tick);
  try { window.localStorage.setItem(KEPT, JSON.stringify({ day: today, ticked: Array.from(ticked) })); } catch { /* kept on this page alone */ }
  show();
});
window.addEventListener("hashchange", markStep);
document.addEventListener("pilotlamp:page", show);
show();

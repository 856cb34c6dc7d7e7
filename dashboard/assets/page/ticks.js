/* Ticks of the list before the show: kept on this device for the day, counted at their step. */
import { put } from "./start.js";

const today = new Date().toDateString();
const KEPT = "pilotlamp-ticks";

function kept() {
  try {
    const found = JSON.parse(window.localStorage.getItem(KEPT));
    return found && found.day === today ? found.ticked : [];
  } catch { return []; }
}

function show() {
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
document.addEventListener("pilotlamp:page", show);
show();

/* Where the script of a page begins: what all pages share, and how something is sent to pilotlamp. */
export const feed = window.pilotlamp || {}; // a page without figures has none
export const { chart, make, put, strokes } = feed;
export const AWAY = "pilotlamp did not answer. Is it still running?";

/* Sends something as JSON; what comes back says whether it was taken, and what was answered. */
export function send(address, what, kind = "1") {
  return fetch(address, { method: "POST", headers: { "Content-Type": "application/json", "X-Pilotlamp": kind }, body: JSON.stringify(what) })
    .then((response) => response.json().then((answer) => ({ ok: response.ok, answer: answer })));
}

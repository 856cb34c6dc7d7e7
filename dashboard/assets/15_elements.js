/* Elements: made and filled with text, never with markup. */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const SHORT = 60;
  const LEAST_REST = 24; // letters: less may be all that is said of a place with a long name

  feed.make = function (name, className, text) {
    const element = document.createElement(name);
    if (className) element.className = className;
    if (text !== undefined) element.textContent = text;
    return element;
  };

  feed.put = function (element, text) {
    if (!element || element.textContent === text) return;
    const only = element.firstChild;
    // A text that stays the same node wakes nobody who waits for new ones.
    if (only && only.nodeType === 3 && !only.nextSibling) only.data = text;
    else element.textContent = text;
  };

  /* What is the matter, and its consequences: a narrow screen shows the first part alone. Short sentences stay whole. */
  feed.parted = function (sentence) {
    const plain = sentence.split("(")[0];
    const at = Math.max(plain.lastIndexOf(": "), plain.lastIndexOf("; "));
    if (sentence.length <= SHORT || at < 0 || sentence.length - at < LEAST_REST) return [sentence, ""];
    return [sentence.slice(0, at), sentence.slice(at)];
  };

  /* Three strokes: the level around them says how many are lit. */
  feed.strokes = function () {
    const made = feed.make("span", "strokes");
    made.setAttribute("aria-hidden", "true");
    return made;
  };
})();

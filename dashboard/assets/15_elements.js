/* Elements: made and filled with text, never with markup. */
(function () {
  "use strict";

  const feed = window.pilotlamp;

  feed.make = function (name, className, text) {
    const element = document.createElement(name);
    if (className) element.className = className;
    if (text !== undefined) element.textContent = text;
    return element;
  };

  feed.put = function (element, text) {
    if (element && element.textContent !== text) element.textContent = text;
  };

  /* Three strokes: the level around them says how many are lit. */
  feed.strokes = function () {
    const made = feed.make("span", "strokes");
    made.setAttribute("aria-hidden", "true");
    for (let k = 0; k < 3; k++) made.append(feed.make("i"));
    return made;
  };
})();

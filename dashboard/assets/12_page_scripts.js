/* Scripts of one page come with that page: its main element names them, and each is fetched once. */
(function () {
  "use strict";

  const asked = new Map(); // name to the promise of its having run

  function fetched(name) {
    if (asked.has(name)) return asked.get(name);
    const one = document.createElement("script");
    one.src = "/assets/page/" + name + ".js";
    one.type = "module";
    one.async = false; // in the order in which they are named
    const ran = new Promise(function (done) {
      one.addEventListener("load", function () { done(true); });
      one.addEventListener("error", function () { asked.delete(name); done(false); });
    });
    asked.set(name, ran);
    document.head.append(one);
    return ran;
  }

  /* What has just been fetched missed the news that its page is there. */
  function bring() {
    const wanted = Array.from(document.querySelectorAll("[data-scripts]"), function (each) { return each.dataset.scripts.split(" "); }).flat();
    const missing = wanted.filter(function (name) { return name && !asked.has(name); });
    if (!missing.length) return;
    Promise.all(missing.map(fetched)).then(function () { document.dispatchEvent(new CustomEvent("pilotlamp:page")); });
  }

  document.addEventListener("pilotlamp:page", bring);
  document.addEventListener("pilotlamp:start", bring);
})();

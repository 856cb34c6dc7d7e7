/* What stands around every page: which page is marked in the menu, and the help behind each "?". */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const make = feed.make;

  function markPage() {
    // The framework gives one title for all districts: the tab names the one that is shown.
    const named = document.querySelector("main[data-named]");
    if (named) document.title = document.title.replace(/District$/, named.dataset.named);
    document.querySelectorAll(".head nav a").forEach(function (link) {
      if (link.pathname === window.location.pathname) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    });
  }

  /* One card for all of them: what the panel shows, what is normal, what to do. */
  function card() {
    const found = document.querySelector(".help-card");
    if (found) return found;
    const made = make("dialog", "help-card");
    const close = make("button", "", "Close");
    close.type = "submit";
    const more = make("a", "", "All words and cautions");
    more.href = "/help";
    const form = make("form");
    form.method = "dialog";
    form.append(close, more);
    made.append(make("h2"), make("dl"), form);
    made.setAttribute("aria-labelledby", "help-title");
    made.firstChild.id = "help-title";
    document.body.append(made);
    return made;
  }

  document.addEventListener("click", function (click) {
    const button = click.target.closest("[data-help]");
    if (!button) return;
    const shown = card();
    const asked = button.dataset;
    shown.firstChild.textContent = asked.title;
    shown.children[1].replaceChildren(
      make("dt", "", "What it shows"), make("dd", "", asked.shows),
      make("dt", "", "What is normal"), make("dd", "", asked.normal),
      make("dt", "", "What to do"), make("dd", "", asked.do)
    );
    shown.showModal();
  });
  document.addEventListener("pilotlamp:page", markPage);
  document.addEventListener("pilotlamp:start", markPage);
  window.addEventListener("popstate", markPage);
})();

/* The feed: one payload a tick by server-sent events, by polling where those do not come. Tells the other scripts:
   "pilotlamp:tick" when a payload came, "pilotlamp:age" a few times a second so that what is old is shown as old. */
(function () {
  "use strict";

  const STALE_AFTER_S = 1.0;
  const POLL_MS = 200;
  const SILENT_MS = 1500;
  const RETRY_STREAM_MS = 15000;
  const OFFSET_KEPT_MS = 30000;

  const feed = {
    payload: null, // the latest one
    run: null, // which start of the server it comes from
    source: "", // which of the feed's sources, as a query; the page says so
    staleAfterS: STALE_AFTER_S, // the payload may say otherwise
    /* Seconds that passed since the server made the latest payload, as this browser's own clock counts them. */
    sinceS: function () {
      if (feed.payload === null) return Infinity;
      const steady = performance.now() - receivedAt;
      const wall = Date.now() - receivedWall;
      // The steady clock stands still in a sleeping computer, the wall clock may be set: a large difference means "old".
      return (wall - steady > 2000 ? wall : steady) / 1000 + lateS;
    },
    ageS: function (ageAtServer) {
      return ageAtServer === null || ageAtServer === undefined ? Infinity : ageAtServer + feed.sinceS();
    },
    isStale: function (ageAtServer) {
      return feed.ageS(ageAtServer) > feed.staleAfterS;
    },
    isConnected: function () {
      return feed.sinceS() <= STALE_AFTER_S;
    },
    /* Whether the pages show a replay and nothing of the present. */
    isReplay: function () {
      return document.querySelector("[data-replay]") !== null;
    },
    act: function (request) {
      return fetch("/act", {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-Pilotlamp": "act" },
        body: JSON.stringify(request),
      }).then(function (answer) {
        return answer.json().then(function (said) {
          if (!answer.ok) throw new Error(said.sentence);
          return said.sentence;
        });
      });
    },
    /* The same to several warnings that say one thing. */
    actOnAll: function (ids, request) {
      return Promise.all(ids.map(function (id) { return feed.act(Object.assign({ warning_id: id }, request)); }));
    },
  };
  window.pilotlamp = feed;

  let receivedAt = 0;
  let receivedWall = 0;
  let lateS = 0;
  let offsets = []; // [when, browser clock minus server clock]: the smallest of the last minute is a payload without delay

  /* How much later than usual this payload came: what waited in a buffer must not look fresh. */
  function delayOf(nowS) {
    const offset = performance.now() / 1000 - nowS;
    const at = performance.now();
    const newest = offsets[offsets.length - 1];
    if (newest && at - newest.at < OFFSET_KEPT_MS / 10) newest.offset = Math.min(newest.offset, offset);
    else offsets.push({ at: at, offset: offset });
    offsets = offsets.filter(function (kept) { return at - kept.at < OFFSET_KEPT_MS; });
    return Math.max(0, offset - Math.min.apply(null, offsets.map(function (kept) { return kept.offset; })));
  }

  function accept(payload) {
    if (feed.payload && payload.run === feed.run && payload.number <= feed.payload.number) return;
    if (feed.payload && payload.layout !== feed.payload.layout) {
      window.location.reload();
      return;
    }
    if (payload.run !== feed.run) offsets = [];
    // The server's own clock where it tells it: a replay's stands still or runs.
    lateS = delayOf(payload.made_s === undefined ? payload.now_s : payload.made_s);
    receivedAt = performance.now();
    receivedWall = Date.now();
    feed.payload = payload;
    feed.staleAfterS = payload.stale_after_s || STALE_AFTER_S;
    if (payload.run !== feed.run) {
      feed.run = payload.run;
      document.dispatchEvent(new CustomEvent("pilotlamp:start"));
    }
    document.dispatchEvent(new CustomEvent("pilotlamp:tick", { detail: payload }));
  }

  let stream = null;
  let streamedAt = 0;
  let polling = false;

  function openStream() {
    if (stream) stream.close();
    stream = new EventSource("/feed/stream" + feed.source);
    stream.onmessage = function (message) {
      streamedAt = performance.now();
      accept(JSON.parse(message.data));
    };
  }

  function poll() {
    if (!polling) return;
    const after = feed.payload ? feed.payload.number : 0;
    const source = feed.source;
    fetch("/feed/now" + (source ? source + "&" : "?") + "after=" + after, { cache: "no-store" })
      .then(function (answer) { return answer.status === 200 ? answer.json() : null; })
      .then(function (payload) { if (payload && polling && source === feed.source) accept(payload); })
      .catch(function () { /* the server is away: the age says so */ })
      .then(function () { window.setTimeout(poll, POLL_MS); });
  }

  function watchStream() {
    const silent = performance.now() - streamedAt > SILENT_MS;
    if (silent && !polling) {
      polling = true;
      poll();
    } else if (!silent) {
      polling = false;
    }
    document.dispatchEvent(new CustomEvent("pilotlamp:age"));
  }

  /* A page may look at another source than the page before it: nothing of the old one may stay in sight as the new one's. */
  function follow() {
    const page = document.querySelector("[data-source]");
    if (!page || page.dataset.source === feed.source) return;
    feed.source = page.dataset.source;
    feed.payload = null;
    feed.run = null;
    offsets = [];
    streamedAt = performance.now();
    openStream();
  }

  document.addEventListener("pilotlamp:page", follow);
  openStream();
  window.setInterval(watchStream, 250);
  window.setInterval(function () {
    if (stream.readyState === EventSource.CLOSED || performance.now() - streamedAt > RETRY_STREAM_MS) openStream();
  }, RETRY_STREAM_MS);
})();

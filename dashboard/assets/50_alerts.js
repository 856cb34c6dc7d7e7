/* Calls for high warnings: a sound with a mute that ends by itself, vibration, a notification, a spoken line. A replay calls nobody:
   what it tells of is over. */
(function () {
  "use strict";

  const feed = window.pilotlamp;
  const MUTE_MINUTES = 5;
  const REPEAT_MS = 4000;

  let context = null;
  let mutedUntil = 0; // this browser's own clock, for a viewer who may not act
  let calledAt = 0;
  const told = new Set();
  const toSpeak = []; // keys and words, in order
  let aloud = ""; // the key of what is being spoken

  function highOnes(payload) {
    return payload.warnings.filter(function (w) { return w.level === "high" && !w.acknowledged && w.shelved_s === null; });
  }

  function mutedS() {
    const shared = feed.payload && feed.payload.muted_s !== null ? feed.payload.muted_s - feed.sinceS() : 0;
    return Math.max(shared, (mutedUntil - performance.now()) / 1000, 0);
  }

  function canSound() {
    return context !== null && context.state === "running";
  }

  /* Two falling notes: told apart from phones and from whistles on the layout. */
  function sound() {
    if (!canSound()) return;
    [880, 622].forEach(function (hertz, k) {
      const from = context.currentTime + k * 0.22;
      const tone = context.createOscillator();
      const loudness = context.createGain();
      tone.type = "triangle";
      tone.frequency.value = hertz;
      loudness.gain.setValueAtTime(0.0001, from);
      loudness.gain.exponentialRampToValueAtTime(0.4, from + 0.02);
      loudness.gain.exponentialRampToValueAtTime(0.0001, from + 0.2);
      tone.connect(loudness).connect(context.destination);
      tone.start(from);
      tone.stop(from + 0.21);
    });
  }

  function allow() {
    if (context === null && window.AudioContext) context = new AudioContext();
    if (context !== null && context.state === "suspended") context.resume().then(showButtons);
    showButtons();
  }

  function pressSound() {
    if (!canSound()) {
      allow();
      window.setTimeout(sound, 60);
      return;
    }
    const minutes = MUTE_MINUTES;
    if (mutedS() > 0) {
      mutedUntil = 0;
      feed.act({ kind: "unmute" }).catch(function () { /* a viewer's own mute has ended anyway */ });
    } else {
      mutedUntil = performance.now() + minutes * 60000;
      feed.act({ kind: "mute", minutes: minutes }).catch(function () { /* a viewer mutes its own device only */ });
    }
    showButtons();
  }

  function pressNotify() {
    Notification.requestPermission().then(showButtons);
  }

  /* Warnings in words, by the browser's own voice: off until somebody turns it on, and remembered by this browser alone. */
  const SPEAKS = "pilotlamp-speaks";

  function canSpeak() { return "speechSynthesis" in window; }

  function isSpeaking() {
    try { return canSpeak() && window.localStorage.getItem(SPEAKS) === "on"; } catch (error) { return false; }
  }

  function pressSpeak() {
    const on = !isSpeaking();
    try { window.localStorage.setItem(SPEAKS, on ? "on" : "off"); } catch (error) { return; /* nothing is kept: it stays off */ }
    window.speechSynthesis.cancel();
    if (on) speak("Warnings are spoken.");
    showButtons();
  }

  function speak(text) {
    if (!isSpeaking() || mutedS() > 0) return;
    const utterance = new SpeechSynthesisUtterance(text);
    utterance.lang = "en";
    window.speechSynthesis.speak(utterance);
  }

  /* One at a time, each only while it still stands unseen; what is seen meanwhile falls silent. */
  function speakOn(keys) {
    if (!canSpeak()) return;
    if (aloud && !keys.includes(aloud)) window.speechSynthesis.cancel();
    if (!window.speechSynthesis.speaking || !keys.includes(aloud)) aloud = "";
    while (!aloud && toSpeak.length) {
      const next = toSpeak.shift();
      if (!keys.includes(next.key)) continue;
      aloud = next.key;
      speak(next.words);
    }
  }

  function iconButton(icon, pressed) {
    const button = feed.make("button");
    const drawn = feed.make("span", "icon of-" + icon);
    drawn.setAttribute("aria-hidden", "true");
    button.type = "button";
    button.append(drawn, feed.make("span", "word"));
    button.addEventListener("click", pressed);
    return button;
  }

  function makeButtons(place) {
    place.append(iconButton("sound", pressSound));
    const voice = iconButton("voice", pressSpeak);
    voice.dataset.voice = "";
    voice.title = "Let this browser speak what must be done now";
    if (canSpeak()) place.append(voice);
    if ("Notification" in window && window.isSecureContext) {
      const notify = iconButton("bell", pressNotify);
      notify.lastChild.textContent = "Notify me";
      notify.dataset.notify = "";
      notify.title = "Let this browser show a notice when something must be done now";
      place.append(notify);
    }
  }

  function showButtons() {
    const place = document.querySelector("[data-alerts]");
    if (place) place.closest(".frame").dataset.fed = "true"; // how data stand is shown with the buttons beside it, not before
    if (!place || feed.isReplay()) return;
    if (!place.children.length) makeButtons(place);
    const muted = mutedS();
    const button = place.children[0];
    const text = !canSound() ? "Turn sound on" : muted > 0 ? "Silent for " + feed.span(muted) : "Mute";
    feed.put(button.lastChild, text);
    button.firstChild.className = "icon of-" + (canSound() && muted <= 0 ? "sound" : "silent");
    button.dataset.state = !canSound() ? "off" : muted > 0 ? "muted" : "on";
    button.title = !canSound()
      ? "Browsers stay silent until somebody presses something"
      : muted > 0 ? "Press to hear high warnings again" : "Press to mute for " + MUTE_MINUTES + " minutes";
    const notify = place.querySelector("[data-notify]");
    if (notify) notify.hidden = Notification.permission !== "default";
    const voice = place.querySelector("[data-voice]");
    if (!voice) return;
    feed.put(voice.lastChild, isSpeaking() ? "Stop speaking" : "Speak warnings");
    voice.setAttribute("aria-pressed", String(isSpeaking()));
  }

  function tell(warning, key) {
    const spoken = document.querySelector("[data-spoken]");
    const words = warning.where + ": " + warning.message + " " + warning.advice;
    if (spoken) spoken.textContent = words;
    toSpeak.push({ key: key, words: words });
    const touched = !navigator.userActivation || navigator.userActivation.hasBeenActive; // browsers refuse before that
    if (navigator.vibrate && touched) navigator.vibrate([250, 120, 250, 120, 500]);
    if ("Notification" in window && Notification.permission === "granted" && document.hidden) {
      try {
        new Notification(warning.message, { body: warning.advice, tag: "pilotlamp-" + warning.id });
      } catch (error) { /* some phones allow it to installed pages only */ }
    }
  }

  document.addEventListener("pilotlamp:tick", function (event) {
    showButtons();
    if (feed.isReplay()) return;
    const high = highOnes(event.detail);
    const keys = high.map(function (warning) { return event.detail.run + "/" + warning.id; });
    high.forEach(function (warning, k) {
      if (told.has(keys[k])) return;
      told.add(keys[k]);
      tell(warning, keys[k]);
      calledAt = 0;
    });
    speakOn(keys);
    if (high.length && mutedS() <= 0 && performance.now() - calledAt > REPEAT_MS) {
      calledAt = performance.now();
      sound();
    }
  });
  document.addEventListener("pilotlamp:page", showButtons);
  // Any press lets the browser make sounds; the button itself sees to its own.
  ["pointerdown", "keydown"].forEach(function (kind) {
    document.addEventListener(kind, function (event) {
      if (context === null && !event.target.closest("[data-alerts]")) allow();
    });
  });
})();

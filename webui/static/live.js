"use strict";
// Keeps the live page as the journal is: one line of server-sent events, and a fresh look at every change.

(() => {
  const now = document.getElementById("now");
  const link = document.getElementById("link");
  const spoken = document.getElementById("spoken");
  let last = "";
  let asking = false;
  let again = false;

  const say = (words, lost) => {
    if (link.textContent !== words) link.textContent = words;
    link.classList.toggle("lost", lost);
  };

  const show = (html) => {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    // What is the same but for its form tokens stays: a button must not be taken away from under a finger.
    const tokens = (part) => [...part.querySelectorAll("input[name=csrf_token]")];
    const freshest = tokens(fresh).map((input) => input.getAttribute("value"));
    const kept = tokens(now);
    if (kept.length === freshest.length) {
      kept.forEach((input, at) => input.setAttribute("value", freshest[at]));
      if (fresh.body.innerHTML.trim() === now.innerHTML.trim()) return;
    }
    const held = document.activeElement && now.contains(document.activeElement) ? document.activeElement.id : "";
    now.replaceChildren(...document.adoptNode(fresh.body).childNodes);
    const question = now.querySelector(".question h2")?.textContent ?? "";
    const words = `${now.querySelector("#words")?.textContent ?? ""} ${question}`.trim();
    if (spoken.textContent !== words) spoken.textContent = words;
    if (held) document.getElementById(held)?.focus({ preventScroll: true });
  };

  const look = async () => {
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    do {
      again = false;
      try {
        const answer = await fetch(now.dataset.now, { headers: { Accept: "text/html" } });
        if (answer.redirected) location.reload();
        else if (answer.ok) show(await answer.text());
      } catch {
        say("The line to the journal is lost; trying again …", true);
      }
    } while (again);
    asking = false;
  };

  // The level moves several times a second; when none comes for two seconds, there is none.
  let silence;
  const showLevel = (level) => {
    const meter = document.getElementById("level");
    const words = document.getElementById("level-words");
    clearTimeout(silence);
    if (level !== null) silence = setTimeout(showLevel, 2000, null);
    if (!meter || !words) return;
    meter.value = level ?? meter.min;
    const worth = level > meter.high ? "too loud" : level < meter.low ? "quiet" : "good";
    words.textContent = level === null ? "no sound level now" : `${Math.round(level)} dB, ${worth}`;
  };

  const listen = () => {
    const line = new EventSource(now.dataset.events);
    line.addEventListener("open", () => say("Following the journal", false));
    line.addEventListener("changed", look);
    line.addEventListener("heard", (event) => {
      const { level, heard } = JSON.parse(event.data);
      const words = JSON.stringify(heard);
      if (words !== last) look();
      last = words;
      showLevel(level);
    });
    line.addEventListener("error", () => {
      say("The line to the journal is lost; trying again …", true);
      if (line.readyState === EventSource.CLOSED) setTimeout(listen, 3000);
    });
  };

  listen();
})();

"use strict";
// Keeps the live page as the journal is: one line of server-sent events, and a fresh look at every change.

(() => {
  const now = document.getElementById("now");
  const link = document.getElementById("link");
  const spoken = document.getElementById("spoken");
  const told = document.getElementById("told");
  const DEAD_MS = 700;
  const LOST_MS = 1700;
  let deadUntil = 0;
  let sending = false;
  let asking = false;
  let again = false;
  let last = "";

  const say = (words, lost) => {
    if (link.textContent !== words) link.textContent = words;
    link.classList.toggle("lost", lost);
  };

  let hush;
  const tell = (words, refused) => {
    told.textContent = words;
    told.classList.toggle("refused", refused);
    clearTimeout(hush);
    hush = setTimeout(() => { told.textContent = ""; }, refused ? 6000 : 3000);
  };

  // Where something moved, a finger that is on its way down was meant for what stood there before.
  let wake;
  const moved = () => {
    deadUntil = performance.now() + DEAD_MS;
    document.body.classList.add("dead");
    clearTimeout(wake);
    wake = setTimeout(() => document.body.classList.remove("dead"), DEAD_MS);
  };

  const dead = () => sending || performance.now() < deadUntil;

  now.addEventListener("click", (event) => {
    if (!dead() || !event.target.closest("button")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  }, true);

  const STILL = ["hears", "words", "more"];

  const show = (html) => {
    const fresh = new DOMParser().parseFromString(html, "text/html");
    const held = document.activeElement && now.contains(document.activeElement) ? document.activeElement.id : "";
    for (const part of fresh.body.querySelectorAll("[data-part]")) {
      const old = document.getElementById(part.id);
      // What is the same but for its form tokens stays: a button must not be taken away from under a finger.
      const tokens = [...part.querySelectorAll("input[name=csrf_token]")];
      const kept = [...old.querySelectorAll("input[name=csrf_token]")];
      if (tokens.length === kept.length) kept.forEach((input, at) => input.setAttribute("value", tokens[at].getAttribute("value")));
      if (part.outerHTML.trim() === old.outerHTML.trim()) continue;
      if (part.id === "hears") hear(part.querySelector("#hears-words").textContent, part.querySelector("#hears-why").textContent);
      else old.replaceWith(document.adoptNode(part));
      if (!STILL.includes(part.id)) moved();
    }
    const words = `${now.querySelector(".as-heard")?.textContent ?? ""} ${now.querySelector("#answers form") ? now.querySelector(".prompt").textContent : ""}`.trim();
    if (spoken.textContent !== words) spoken.textContent = words;
    if (held && document.activeElement?.id !== held) document.getElementById(held)?.focus({ preventScroll: true });
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

  // Whether one is heard is said by the page's own clock too: where no word of it comes, one is not.
  let silence;
  const hear = (hears, why) => {
    const box = document.getElementById("hears");
    const words = document.getElementById("hears-words");
    if (words.textContent !== hears) {
      words.textContent = hears;
      box.className = `hears is-${hears.replaceAll(" ", "-")}`;
      moved();
    }
    document.getElementById("hears-why").textContent = why;
    clearTimeout(silence);
    if (hears === "listening") silence = setTimeout(() => { hear("not listening", "nothing comes from the journal"); showLevel(null); }, LOST_MS);
  };

  const showLevel = (level) => {
    const meter = document.getElementById("level");
    const words = document.getElementById("level-words");
    meter.value = level ?? meter.min;
    const worth = level > meter.high ? "too loud" : level < meter.low ? "quiet" : "good";
    words.textContent = level === null ? "no sound level now" : `${Math.round(level)} dB, ${worth}`;
  };

  const lost = () => {
    say("The line to the journal is lost; trying again …", true);
    hear("not listening", "the line to the journal is lost");
  };

  const listen = () => {
    const line = new EventSource(now.dataset.events);
    line.addEventListener("open", () => { say("Following the journal", false); look(); });
    line.addEventListener("changed", look);
    line.addEventListener("heard", (event) => {
      const { hears, why, level, heard } = JSON.parse(event.data);
      hear(hears, why);
      showLevel(level);
      const words = JSON.stringify(heard);
      if (words !== last) look();
      last = words;
    });
    line.addEventListener("error", () => {
      lost();
      if (line.readyState === EventSource.CLOSED) setTimeout(listen, 3000);
    });
  };

  // Forms are sent without leaving the page, which would leave the full screen too.
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("[data-stays]")) return;
    event.preventDefault();
    if (sending) return;
    sending = true;
    const body = new URLSearchParams(new FormData(form, event.submitter));
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
      const { words } = await answer.json();
      tell(answer.ok ? words : `Not done: ${words}`, !answer.ok);
      if (answer.ok) form.dispatchEvent(new CustomEvent("sent", { bubbles: true }));
    } catch {
      tell("Not done: the line to the journal is lost", true);
    }
    sending = false;
    moved();
    look();
  });

  moved();
  hear(document.getElementById("hears-words").textContent, document.getElementById("hears-why").textContent);
  listen();
})();

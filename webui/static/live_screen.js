"use strict";
// Full screen, a screen that stays awake (W3C Screen Wake Lock), what is in sight at once, and the machine's microphones.

(() => {
  const full = document.getElementById("full");
  const awake = document.getElementById("awake");
  const microphones = document.getElementById("microphone");

  // The first screen is as high as what the strip above it leaves.
  const strip = document.querySelector(".strip");
  new ResizeObserver(() => document.body.style.setProperty("--strip", `${strip.offsetHeight}px`)).observe(strip);

  if (document.documentElement.requestFullscreen) {
    full.hidden = false;
    full.addEventListener("click", () => {
      if (document.fullscreenElement) document.exitFullscreen();
      else document.documentElement.requestFullscreen().catch(() => { full.hidden = true; });
    });
    document.addEventListener("fullscreenchange", () => {
      full.textContent = document.fullscreenElement ? "Leave full screen" : "Full screen";
    });
  }

  const stayAwake = async () => {
    if (document.visibilityState !== "visible") return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      awake.textContent = "The screen is kept awake.";
      lock.addEventListener("release", () => { awake.textContent = "The screen may go to sleep."; });
    } catch {
      awake.textContent = "This browser lets the screen go to sleep: set the machine not to.";
    }
  };

  // A lock ends whenever the page is out of sight.
  document.addEventListener("visibilitychange", stayAwake);
  stayAwake();

  const list = async () => {
    try {
      const answer = await fetch(microphones.dataset.list, { headers: { Accept: "application/json" } });
      const found = await answer.json();
      const chosen = microphones.value || found.chosen;
      const one = (number, name) => new Option(name, number);
      microphones.replaceChildren(one("", "the system's own choice"), one("phone:", "a phone, by its page Phone"), ...found.microphones.map((m) => one(m.name, m.name)));
      microphones.value = chosen;
      if (microphones.selectedIndex < 0) microphones.value = "";
    } catch {
      // Those that were listed stay.
    }
  };

  document.getElementById("how").addEventListener("toggle", (event) => { if (event.target.open) list(); });
})();

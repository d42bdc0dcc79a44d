"use strict";
// Moves through the list of entries by arrow keys; P plays the sound of the entry that has the focus.

(() => {
  const list = document.querySelector("[data-keys]");
  if (!list) return;

  list.addEventListener("keydown", (press) => {
    if (press.ctrlKey || press.altKey || press.metaKey || press.target.matches("input, select, textarea, audio")) return;
    const items = [...list.children];
    const here = items.findIndex((item) => item.contains(document.activeElement));
    if (press.key === "ArrowDown" || press.key === "ArrowUp") {
      const next = items[here + (press.key === "ArrowDown" ? 1 : -1)];
      next?.querySelector("a, button")?.focus();
      press.preventDefault();
    } else if (press.key.toLowerCase() === "p") {
      const sound = items[here]?.querySelector("audio");
      if (sound) sound.paused ? sound.play() : sound.pause();
    }
  });
})();

"use strict";
// The number pad: what was tapped says what the number is of.

(() => {
  const now = document.getElementById("now");
  const pad = document.getElementById("pad");
  const form = pad.querySelector("form");
  const value = document.getElementById("pad-value");

  now.addEventListener("click", (event) => {
    const tapped = event.target.closest("button[data-about]");
    if (!tapped) return;
    const { about, cylinder, question, title } = tapped.dataset;
    form.elements.about.value = about;
    form.elements.cylinder.value = cylinder ?? "";
    form.elements.question.value = question ?? "";
    document.getElementById("pad-title").textContent = title;
    document.getElementById("pad-same").hidden = about !== "cylinder";
    value.value = "";
    pad.showModal();
    value.focus();
  });

  pad.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]")?.dataset.key;
    if (key === "back") value.value = value.value.slice(0, -1);
    else if (key && value.value.length < value.maxLength) value.value += key;
  });

  document.getElementById("pad-close").addEventListener("click", () => pad.close());
  form.addEventListener("sent", () => pad.close());
})();

"use strict";
// Sends photos as soon as they are chosen, and says that they are on their way.

for (const form of document.querySelectorAll("[data-upload]")) {
  for (const chooser of form.querySelectorAll("input[type=file]")) {
    chooser.addEventListener("change", () => {
      if (!chooser.files.length) return;
      form.querySelector("button").textContent = "Sending …";
      form.requestSubmit();
    });
  }
}

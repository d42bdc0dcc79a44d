"use strict";
// Sends photos as soon as they are chosen, and says that they are on their way.

for (const form of document.querySelectorAll("[data-upload]")) {
  const chooser = form.querySelector("input[type=file]");
  chooser.addEventListener("change", () => {
    if (!chooser.files.length) return;
    const button = form.querySelector("button");
    if (button) button.textContent = "Sending …";
    form.requestSubmit();
  });
}

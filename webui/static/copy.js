"use strict";
// Shows the copy buttons where the browser can copy, and copies the address beside each.

for (const button of document.querySelectorAll("[data-copy]")) {
  const source = document.getElementById(button.dataset.copy);
  button.hidden = false;
  button.addEventListener("click", async () => {
    source.select();
    try {
      await navigator.clipboard.writeText(source.value);
      button.textContent = "Copied";
    } catch {
      button.textContent = "Selected: copy it now";
    }
  });
}

"use strict";
// Draws the engine's layout anew whenever the form's description of it changes.

(() => {
  const form = document.getElementById("new-job");
  const place = document.getElementById("drawn");
  const names = ["cylinders", "arrangement", "injection", "order", "banks", "drivers", "branches"];

  form.addEventListener("change", async (event) => {
    if (!names.includes(event.target.name)) return;
    const asked = new URLSearchParams(names.map((name) => [name, form.elements[name].value]));
    try {
      const answer = await fetch(`${form.dataset.draw}?${asked}`);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const drawn = page.getElementById("drawn");
      const problem = page.querySelector("[role=alert]");
      if (drawn) place.replaceChildren(...document.adoptNode(problem ?? drawn).childNodes);
    } catch {
      place.textContent = "";
    }
  });
})();

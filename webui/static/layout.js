"use strict";
// Draws the engine's layout anew whenever the form's description of it changes, and fills in what is known of a unit.

(() => {
  const form = document.getElementById("new-job");
  const place = document.getElementById("drawn");
  const filled = document.getElementById("filled");
  const names = ["cylinders", "arrangement", "injection", "order", "banks", "drivers", "branches"];
  const plate = ["make", "model", "serial", "customer"];

  const page = async (asked) => {
    const answer = await fetch(`${form.dataset.draw}?${new URLSearchParams(asked)}`);
    return new DOMParser().parseFromString(await answer.text(), "text/html");
  };

  const draw = async () => {
    try {
      const fresh = await page(names.map((name) => [name, form.elements[name].value]));
      const drawn = fresh.getElementById("drawn");
      const problem = fresh.querySelector("[role=alert]");
      if (drawn) place.replaceChildren(...document.adoptNode(problem ?? drawn).childNodes);
    } catch {
      place.textContent = "";
    }
  };

  // What is known of the unit is filled in where nothing stands yet; what was typed stays.
  const recall = async () => {
    filled.textContent = "";
    const untouched = ["cylinders", "order", ...plate].every((name) => !form.elements[name].value);
    if (!untouched || ![...document.querySelectorAll("#units option")].some((o) => o.value === form.elements.unit.value))
      return;
    try {
      const fresh = await page([["unit", form.elements.unit.value], ["known", "yes"]]);
      if (fresh.querySelector("[role=alert]")) return;
      for (const name of [...names, ...plate]) form.elements[name].value = fresh.getElementById(name).value;
      filled.textContent = "Filled in from the last job on this unit; confirm it.";
      await draw();
    } catch {
      filled.textContent = "";
    }
  };

  form.addEventListener("change", (event) => {
    if (event.target.name === "unit") recall();
    else if (names.includes(event.target.name)) draw();
  });
})();

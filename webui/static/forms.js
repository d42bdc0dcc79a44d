"use strict";
// Sends forms without leaving the page: what is wrong is said beside the field, what was typed stays, and after what was
// done the page is shown anew at the same place.

(() => {
  const PLACE = "place";

  // How far what is told above the page's content moves it down.
  const told = () => [...document.querySelectorAll(".told")].reduce((high, one) => high + one.offsetHeight + 12, 0);

  const say = (form, words, name) => {
    clear(form);
    const field = name && [form.elements[name]].flat()[0];
    const beside = field?.type && field.type !== "hidden" ? field : null;
    const wrong = document.createElement("p");
    wrong.className = "wrong";
    wrong.id = `wrong-${Math.random().toString(36).slice(2)}`;
    wrong.setAttribute("role", "alert");
    wrong.textContent = words;
    (beside?.closest(".field") ?? form).append(wrong);
    if (!beside) return;
    beside.setAttribute("aria-invalid", "true");
    beside.setAttribute("aria-describedby", wrong.id);
    beside.focus();
  };

  const clear = (form) => {
    for (const old of form.querySelectorAll(".wrong[role=alert]")) old.remove();
    for (const old of form.parentNode.querySelectorAll(":scope > .doubt")) old.remove();
    for (const field of form.querySelectorAll("[aria-invalid]")) {
      field.removeAttribute("aria-invalid");
      field.removeAttribute("aria-describedby");
    }
  };

  // The question with its answers stands right after the form that it is about.
  const ask = (form, doubt) => {
    clear(form);
    doubt.classList.add("doubt");
    doubt.setAttribute("role", "alert");
    doubt.querySelector("[data-dismiss]")?.addEventListener("click", (event) => {
      event.preventDefault();
      clear(form);
      form.querySelector("input:not([type=hidden])")?.focus();
    });
    form.after(document.adoptNode(doubt));
    doubt.querySelector("button").focus();
  };

  const go = (to) => {
    const next = new URL(to, location.href);
    const here = next.pathname + next.search === location.pathname + location.search;
    if (next.pathname === location.pathname)
      sessionStorage.setItem(PLACE, JSON.stringify({ at: next.pathname, y: scrollY - told() }));
    if (here) {
      history.replaceState(null, "", next);
      location.reload();
    } else {
      location.assign(next);
    }
  };

  const show = (html) => {
    const page = new DOMParser().parseFromString(html, "text/html");
    document.querySelector("main").replaceWith(document.adoptNode(page.querySelector("main")));
    document.querySelector("main").focus();
  };

  const refused = async (form, answer) => {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const again = page.querySelector("form[data-again]");
    const doubt = page.getElementById("doubt");
    if (again && form.matches("[data-again]")) {
      document.querySelector("main").replaceWith(document.adoptNode(page.querySelector("main")));
      document.querySelector("[aria-invalid], [name^=anyway]")?.focus();
    } else if (doubt) {
      ask(form, doubt);
    } else {
      const problem = page.querySelector("[data-problem]") ?? page.querySelector("main section p");
      say(form, problem?.textContent.trim() ?? `The journal answers ${answer.status}.`, problem?.dataset.problem);
    }
  };

  const send = async (form, button) => {
    if (form.dataset.sending) return;
    form.dataset.sending = "yes";
    const data = new URLSearchParams(new FormData(form));
    if (button?.name) data.append(button.name, button.value);
    try {
      const answer = await fetch(button?.getAttribute("formaction") ?? form.action, {
        method: "POST", body: data, headers: { "X-Form": "yes", Accept: "text/html" },
      });
      if (answer.headers.has("X-Go")) return go(answer.headers.get("X-Go"));
      if (answer.ok) return show(await answer.text());
      delete form.dataset.sending;
      await refused(form, answer);
    } catch {
      delete form.dataset.sending;
      say(form, "The journal does not answer. What you typed is still here: try again in a moment.");
    }
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.enctype === "multipart/form-data") return;
    if (form.matches("[data-plain]")) return;
    event.preventDefault();
    send(form, event.submitter);
  });

  // What was under the eyes is there again, and what was done has the focus.
  const place = JSON.parse(sessionStorage.getItem(PLACE) ?? "null");
  sessionStorage.removeItem(PLACE);
  if (place?.at === location.pathname) {
    const back = () => {
      document.getElementById(location.hash.slice(1))?.focus({ preventScroll: true });
      scrollTo(0, place.y + told());
    };
    back();
    addEventListener("load", () => setTimeout(back));
  }
})();

"use strict";
// Sends photos as soon as they are chosen and stays on the page: what each became is told here, and one that does not
// get through is kept and sent again. Follows where the next photo goes, whoever says so.

(() => {
  const part = document.getElementById("camera-part");
  const photos = document.getElementById("photos");
  const cue = document.getElementById("cue");
  const subject = document.getElementById("subject");
  const sending = document.getElementById("sending");
  const told = document.getElementById("told");
  const landing = document.getElementById("landing");
  const most = Number(part.dataset.most);
  const EVERY_MS = 1000;
  const AGAIN_MS = 2000;
  const LONGEST_MS = 120000;
  const waiting = [];
  let busy = false;

  document.getElementById("send").hidden = true; // what is chosen goes at once

  const tell = (category, words) => {
    const line = document.createElement("li");
    line.className = `note ${category}`;
    const lead = document.createElement("strong");
    lead.textContent = { danger: "Not done:", warning: "Look again:" }[category] ?? "Done:";
    line.append(lead, ` ${words}`);
    told.prepend(line);
    while (told.children.length > 6) told.lastElementChild.remove();
  };

  const thumbnail = ({ src, place, warning, read }) => {
    const item = document.createElement("li");
    const image = document.createElement("img");
    Object.assign(image, { src, width: 320, height: 240, alt: "" });
    const where = document.createElement("span");
    where.textContent = place;
    item.append(image, where);
    if (warning) {
      const again = document.createElement("span");
      again.className = "small";
      again.textContent = ` Look again: ${warning}`;
      item.append(again);
    }
    if (read) {
      const line = document.createElement("span");
      line.className = "small";
      line.textContent = ` ${read[0].toUpperCase()}${read.slice(1)}`;
      item.append(line);
    }
    return item;
  };

  let shown = null;
  addEventListener("journal", ({ detail: state }) => {
    for (const [category, words] of state.told ?? []) tell(category, words);
    if (state.landing === undefined) return;
    const words = state.landing || "nowhere yet";
    if (landing.textContent !== words) landing.textContent = words;
    for (const button of cue.querySelectorAll("button")) {
      const on = button.value ? Number(button.value) === state.cylinder : Boolean(state.subject) && !state.cylinder;
      button.setAttribute("aria-pressed", String(on));
    }
    if (state.subject && document.activeElement !== subject) {
      if (![...subject.options].some((option) => option.value === state.subject)) {
        subject.prepend(new Option(state.subject[0].toUpperCase() + state.subject.slice(1), state.subject));
      }
      subject.value = state.subject;
    }
    document.getElementById("count").textContent = `${state.count} photo${state.count === 1 ? "" : "s"}`;
    const sent = JSON.stringify(state.sent);
    if (shown !== sent) document.getElementById("sent").replaceChildren(...state.sent.map(thumbnail));
    shown = sent;
  });
  const show = (state) => dispatchEvent(new CustomEvent("journal", { detail: state }));

  const ask = async (address, form, patience) => {
    const answer = await fetch(address, {
      method: form ? "POST" : "GET",
      body: form,
      headers: { Accept: "application/json" },
      signal: AbortSignal.timeout(patience),
    });
    if (answer.redirected || [403, 404, 410].includes(answer.status)) {
      // This device is out, or its link has ended: a page that records stays to say so, another one shows what is so.
      if (document.getElementById("ear")) show({ out: true });
      else location.reload();
      return null;
    }
    if (answer.status >= 500) throw new Error("the journal could not answer");
    const kind = answer.headers.get("Content-Type") ?? "";
    if (!kind.startsWith("application/json")) throw new Error("no answer of this page");
    return answer.json();
  };

  const sign = (form) => form.querySelector("input[name=csrf_token]").value;

  const work = async () => {
    if (busy) return;
    busy = true;
    while (waiting.length) {
      const one = waiting[0];
      sending.textContent = `Sending ${waiting.length === 1 ? one.name : `${waiting.length} photos`} …`;
      const form = new FormData();
      form.append("csrf_token", sign(photos));
      form.append("photos", one, one.name);
      try {
        const state = await ask(photos.action, form, LONGEST_MS);
        if (state === null) return;
        waiting.shift();
        show(state);
      } catch {
        const many = waiting.length === 1 ? "One photo is" : `${waiting.length} photos are`;
        sending.textContent = `${many} kept on this phone until the network is back; leave this page open.`;
        await new Promise((later) => setTimeout(later, AGAIN_MS));
      }
    }
    sending.textContent = "";
    busy = false;
  };

  for (const chooser of photos.querySelectorAll("input[type=file]")) {
    chooser.addEventListener("change", () => {
      for (const file of chooser.files) {
        if (file.size > most) {
          tell("danger", `${file.name} is larger than ${Math.floor(most / 1e6)} MB: send a smaller copy`);
        } else waiting.push(file);
      }
      chooser.value = "";
      document.getElementById("camera").focus({ preventScroll: true }); // back to the camera
      work();
    });
  }
  addEventListener("beforeunload", (event) => {
    if (waiting.length) event.preventDefault();
  });

  const point = async (cylinder) => {
    const form = new FormData();
    form.append("csrf_token", sign(cue));
    form.append("subject", subject.value);
    form.append("cylinder", cylinder);
    try {
      const state = await ask(cue.action, form, 5000);
      if (state) show(state);
    } catch {
      tell("danger", "the network is away: say it again when it is back");
    }
  };
  cue.addEventListener("submit", (event) => {
    event.preventDefault();
    point(event.submitter?.value ?? "");
  });
  subject.addEventListener("change", () => {
    const pressed = cue.querySelector("button[aria-pressed=true]");
    point(pressed?.value ?? "");
  });

  const follow = async () => {
    if (!document.hidden && !busy) {
      try {
        const state = await ask(part.dataset.now, null, 5000);
        if (state === null) return;
        show(state);
        part.classList.remove("away");
      } catch {
        part.classList.add("away");
        landing.textContent = "not known: no line to the journal";
      }
    }
    setTimeout(follow, EVERY_MS);
  };
  setTimeout(follow, EVERY_MS);
})();

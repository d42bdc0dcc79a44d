"use strict";
// Watches the scanner's screen: sends one frame of this phone's camera after the other to be read, the next only when the
// last was answered, and shows what is read. Nothing is sent while the page is hidden, and no frame is kept here.

(() => {
  const part = document.getElementById("stand");
  const byId = (id) => document.getElementById(`stand-${id}`);
  const button = byId("watch");
  if (!button) return; // not on this page, or not here
  const view = byId("view");
  const sign = () => document.querySelector("input[name=csrf_token]").value;
  const EVERY_MS = 1000; // from one frame to the next
  const LATER_MS = 3000; // after one that did not get through
  const LONGEST_MS = 75000; // longer than the server takes to give a frame up
  const FINE = { width: { ideal: 1920 }, height: { ideal: 1080 } };
  const SINGLE = "take single photos above instead";

  let media = null;
  let lock = null;
  let round = 0; // of which start a frame is: what comes back after a stop is of no use
  let busy = false;
  let wanted = false; // somebody said that what is shown is the reading
  let timer = 0;
  let asks = false;
  let following = null; // what is to be named next
  const frame = document.createElement("canvas");

  const tell = (words) => {
    byId("why").textContent = words;
  };

  const showState = () => {
    part.classList.toggle("on", Boolean(media));
    byId("state").textContent = media ? "WATCHING" : "Camera on a stand: off";
    button.textContent = media ? "Stop watching" : "Watch the screen";
    view.hidden = byId("words").hidden = !media;
    if (!media) byId("read").hidden = true;
  };

  const REASONS = {
    NotAllowedError: "the phone does not let this page use it",
    NotFoundError: "this device has none",
    NotReadableError: "another app has it",
  };

  const start = async () => {
    if (!navigator.mediaDevices?.getUserMedia) {
      tell(`no camera: the browser gives it to secure pages only; ${SINGLE}`);
      return;
    }
    button.disabled = true;
    try {
      media = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", ...FINE }, audio: false });
    } catch (error) {
      tell(`no camera: ${REASONS[error.name] ?? error.message}; ${SINGLE}`);
      return;
    } finally {
      button.disabled = false;
    }
    if (document.hidden) {
      stop("the page was hidden: start again");
      return;
    }
    media.getVideoTracks()[0].addEventListener("ended", () => stop("the camera was taken away: start again"));
    view.srcObject = media;
    round += 1;
    wanted = busy = false;
    tell("keep the whole screen in the picture, sharp and without glare");
    showState();
    part.scrollIntoView({ block: "start" });
    await view.play();
    awake();
    next(0);
  };

  const stop = (words) => {
    clearTimeout(timer);
    media?.getTracks().forEach((track) => track.stop());
    lock?.release();
    media = lock = view.srcObject = null;
    round += 1;
    tell(words);
    showState();
  };

  const awake = async () => {
    try {
      lock = (await navigator.wakeLock?.request("screen")) ?? null;
    } catch {
      lock = null; // the phone saves its battery
    }
    if (!media) lock?.release();
  };

  const next = (later) => {
    clearTimeout(timer);
    timer = setTimeout(look, later);
  };

  const picture = () => {
    frame.width = view.videoWidth;
    frame.height = view.videoHeight;
    frame.getContext("2d").drawImage(view, 0, 0);
    return new Promise((done) => frame.toBlob(done, "image/jpeg", 0.9));
  };

  const look = async () => {
    if (!media || busy) return;
    if (!wanted && !byId("itself").checked) return next(EVERY_MS);
    if (!view.videoWidth) return next(100); // its first picture is still to come
    busy = true;
    const mine = round;
    const now = wanted;
    const began = performance.now();
    let later = LATER_MS;
    wanted = false;
    try {
      const answer = await fetch(`${part.dataset.frames}${now ? "?now=1" : ""}`, {
        method: "POST",
        body: await picture(),
        headers: { Accept: "application/json", "Content-Type": "image/jpeg", "X-CSRFToken": sign() },
        signal: AbortSignal.timeout(LONGEST_MS),
      });
      const kind = answer.headers.get("Content-Type") ?? "";
      const told = kind.startsWith("application/json") ? await answer.json() : null;
      if (mine !== round) return;
      if (answer.status === 429) tell(told?.words ?? "too many frames: it goes on in a moment");
      else if (answer.redirected || [403, 404].includes(answer.status)) {
        stop("this phone was put out, or the job is gone: reload this page to be let in again");
        return;
      } else if (answer.status >= 400 && answer.status < 500) {
        stop(told?.words ?? "the frame was refused: reload this page");
        return;
      } else if (answer.status >= 500 || !told) throw new Error("no answer");
      else if (told.busy) {
        wanted ||= now; // asked for once is asked for
        later = EVERY_MS;
        tell("the shop's machine reads something else: it goes on in a moment");
      } else {
        show(told);
        later = Math.max(0, EVERY_MS - (performance.now() - began));
      }
    } catch {
      if (mine !== round) return;
      wanted ||= now;
      tell("no line to the shop's machine: it goes on when the line is back");
    } finally {
      if (mine === round) busy = false;
    }
    if (media && mine === round) next(wanted ? Math.min(later, EVERY_MS) : later);
  };

  // What is shown

  const crop = ({ at: [x0, y0, x1, y1] }) => {
    const part = document.createElement("canvas");
    const high = (y1 - y0) * frame.height;
    const left = Math.max(0, x0 * frame.width - high);
    const upper = Math.max(0, y0 * frame.height - high / 2);
    part.width = Math.min(frame.width - left, (x1 - x0) * frame.width + 2 * high);
    part.height = Math.min(frame.height - upper, 2 * high);
    part.getContext("2d").drawImage(frame, left, upper, part.width, part.height, 0, 0, part.width, part.height);
    part.setAttribute("role", "img");
    part.setAttribute("aria-label", "Its part of the picture");
    return part;
  };

  const line = (number) => {
    const item = document.createElement("li");
    const words = document.createElement("span");
    const value = document.createElement("strong");
    value.textContent = `${number.written}${number.unit ? ` ${number.unit}` : ""}`;
    words.append(value, ` ${number.label || "no label"}`);
    if (number.doubt) {
      const doubt = document.createElement("span");
      doubt.className = "small";
      doubt.textContent = ` Not sure: ${number.doubt}`;
      words.append(doubt);
    }
    item.append(crop(number), words);
    return item;
  };

  const show = (told) => {
    const { numbers, others, alike, frames, step } = told;
    byId("read").hidden = false;
    byId("numbers").replaceChildren(...numbers.map(line));
    const more = others ? `${others} more number${others === 1 ? "" : "s"} on the screen` : "";
    const none = "no number is to be seen: turn the phone to the screen";
    tell([told.of && `for ${told.of}`, more || (numbers.length ? "" : none)].filter(Boolean).join("; ") || "reading");
    const still = step === "look" && alike ? `steady in ${alike} of ${frames} frames` : "";
    const words = told.line || still;
    if (byId("line").textContent !== words) byId("line").textContent = words;
    asks ||= step === "propose";
    following = told.next;
    byId("next").disabled = !following;
    byId("next").replaceChildren("Next");
    if (following) byId("next").append(":", ...named(following.words));
  };

  // "cylinder 4" is shown as 4, like the buttons above, and read out in full.
  const named = (words) => {
    const [first, second] = words.split(" ");
    if (!second) return [` ${first}`];
    const word = document.createElement("span");
    word.className = "hidden-visually";
    word.textContent = ` ${first}`;
    return [word, ` ${second}`];
  };

  // Names what comes next, as the buttons above do.
  const name = async () => {
    const form = new FormData();
    form.append("csrf_token", sign());
    form.append("subject", following.subject);
    form.append("cylinder", following.cylinder);
    byId("next").disabled = true; // one touch, one name
    const how = { method: "POST", body: form, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(5000) };
    try {
      await fetch(document.getElementById("cue").action, how);
    } catch {
      tell("no line to the shop's machine: say it again when the line is back");
    }
  };

  // A question that comes of a frame is answered above.
  addEventListener("journal", ({ detail: { asked } }) => {
    if (!asks || asked === undefined) return;
    asks = false;
    if (asked && media) document.getElementById("asked").scrollIntoView({ block: "start" });
  });

  button.addEventListener("click", () => {
    if (media) stop("this phone does not watch");
    else start();
  });
  byId("next").addEventListener("click", name);
  byId("now").addEventListener("click", () => {
    wanted = true;
    if (!busy) next(0);
  });
  document.addEventListener("visibilitychange", () => {
    if (media && document.hidden) stop("stopped, as the page was hidden: start again");
  });
  addEventListener("pagehide", () => {
    if (media) stop("stopped, as the page was left: start again");
  });
})();

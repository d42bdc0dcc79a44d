"use strict";
// Makes this phone the job's microphone, and shows whether it listens, what was heard, and the question that waits.

(() => {
  const part = document.getElementById("ear");
  const button = document.getElementById("listen");
  const memo = document.getElementById("memo");
  const byId = (id) => document.getElementById(id);
  const sign = () => document.querySelector("input[name=csrf_token]").value;
  const minutes = Number(part.dataset.minutes);
  const STILL_MS = 1500; // so long without sound from the phone itself, it has none
  const LINE_MS = 2500; // so long without an answer, there is no line
  const LATE_S = 5; // so long after it was said, nobody waits for the answer any more
  const GAP_MS = 1000; // so much that was not recorded ends a stream
  const MOVED_MS = 700; // so long a question that has just come takes no touch

  let context = null;
  let media = null;
  let current = null;
  let recordedAt = 0;
  let usual = 0;
  let attended = false;
  let trouble = "";
  let refusal = "";
  let lock = null;

  const tellState = (state) => dispatchEvent(new CustomEvent("journal", { detail: state }));
  const sending = new Sending({
    address: part.dataset.sound,
    sign,
    most: minutes * 60 * RATE,
    heard: (state) => tellState(state),
    refused: (why) => {
      trouble = why;
      stop();
    },
  });
  addEventListener("journal", ({ detail: { out } }) => {
    if (!out) return;
    sending.drop();
    sending.refused("this phone was put out, or the job is gone: reload this page to be let in again");
  });

  // What is recorded

  const recorded = ({ data: { at, samples } }) => {
    if (!media) return; // on its way when the microphone was stopped: it would begin a stream that nobody ends
    recordedAt = performance.now();
    const begins = at - (samples.length * 1000) / RATE;
    // A clock that runs a little slower than the other makes no gap, what was not recorded does.
    const late = current ? begins - current.began - (current.end * 1000) / RATE : 0;
    usual = current ? usual + (late - usual) * 0.001 : 0;
    if (late - usual > GAP_MS) leave();
    if (!sending.hasRoom) leave();
    else {
      current ??= sending.begin(begins);
      if (Answering.sounding) samples.fill(0);
      current.add(samples);
    }
    showLevel(samples);
  };

  const leave = () => {
    if (current) current.over = true;
    current = null;
  };

  const start = async () => {
    trouble = "";
    Answering.ready();
    try {
      const plain = { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: false };
      media = await navigator.mediaDevices.getUserMedia({ audio: plain });
      context = new AudioContext({ sampleRate: RATE });
      await context.audioWorklet.addModule(part.dataset.samples);
      const node = new AudioWorkletNode(context, "samples", { channelCount: 1, channelCountMode: "explicit" });
      node.port.onmessage = recorded;
      context.createMediaStreamSource(media).connect(node).connect(context.destination);
      await context.resume();
      recordedAt = performance.now();
      await awake();
      await attend();
    } catch (error) {
      stop();
      const reason = error.name === "NotAllowedError" ? "the phone does not let this page use it" : error.message;
      trouble = `no microphone: ${reason}; record a voice memo below instead`;
    }
    showState();
  };

  // Has the shop's machine listen to its phones; that it does shows in what it says of itself.
  const attend = async () => {
    const form = new FormData();
    form.append("csrf_token", sign());
    const how = { method: "POST", body: form, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(5000) };
    try {
      const answer = await fetch(part.dataset.listen, how);
      refusal = answer.status === 400 ? (await answer.json()).words : "";
    } catch {
      refusal = ""; // no line: that is told by itself
    }
  };

  const stop = () => {
    leave();
    media?.getTracks().forEach((track) => track.stop());
    context?.close();
    lock?.release();
    media = context = lock = null;
  };

  const awake = async () => {
    try {
      lock = (await navigator.wakeLock?.request("screen")) ?? null;
    } catch {
      lock = null; // the phone saves its battery
    }
  };
  document.addEventListener("visibilitychange", () => {
    if (media && !document.hidden) {
      awake();
      context.resume();
    }
  });
  addEventListener("beforeunload", (event) => {
    if (media || sending.kept) event.preventDefault();
  });
  button?.addEventListener("click", () => {
    if (media) stop();
    else start();
    showState();
  });

  // What is shown

  const seconds = (samples) => {
    const whole = Math.round(samples / RATE);
    return whole < 120 ? `${whole} s` : `${Math.round(whole / 60)} minutes`;
  };

  const why = () => {
    const kept = `${seconds(sending.kept)} of sound are kept on this phone, at most ${minutes} minutes`;
    if (trouble) return trouble;
    if (!media) return "the microphone of this phone is off";
    if (performance.now() - recordedAt > STILL_MS) return "the phone gives no sound: another app may have its microphone";
    if (!sending.hasRoom) return `no more is kept: ${minutes} minutes of sound wait for a line to the shop's machine`;
    if (sending.lost || performance.now() - sending.answeredAt > LINE_MS) return `no line to the shop's machine: ${kept}`;
    if (sending.full) return `the shop's machine takes no more before it has heard what waits there: ${kept}`;
    if (!attended) return refusal || part.dataset.unattended;
    return "";
  };

  const showState = () => {
    const not = why();
    const behind = sending.kept > 3 * RATE ? `catching up: ${seconds(sending.kept)} to send` : "";
    part.classList.toggle("on", !not);
    const words = not ? "NOT LISTENING" : "LISTENING";
    if (byId("state").textContent !== words) byId("state").textContent = words;
    byId("why").textContent = not || behind || "say what you read";
    if (button) button.textContent = media ? "Stop the microphone" : "Start the microphone";
    if (!media) byId("level").value = byId("level").min;
  };
  setInterval(showState, 300);

  const showLevel = (samples) => {
    const power = samples.reduce((sum, sample) => sum + (sample / 32768) ** 2, 0) / samples.length;
    byId("level").value = power ? 10 * Math.log10(power) : -70;
  };

  let asked = "";
  const showAsked = (question) => {
    const box = byId("asked");
    box.hidden = !question;
    const now = JSON.stringify(question);
    if (now === asked) return;
    asked = now;
    if (!question) return;
    byId("prompt").textContent = question.prompt;
    byId("crops").replaceChildren(
      ...question.crops.map((src) => Object.assign(document.createElement("img"), { src, alt: "What the photo shows" })),
    );
    const buttons = [...question.options.map((words, at) => [words, String(at)]), [question.none, "neither"]];
    byId("choices").replaceChildren(
      ...buttons.map(([words, choice]) => {
        const made = document.createElement("button");
        made.textContent = words;
        made.disabled = true;
        setTimeout(() => (made.disabled = false), MOVED_MS);
        made.addEventListener("click", () => answer(question.at, choice));
        return made;
      }),
    );
  };

  const answer = async (address, choice) => {
    for (const each of byId("choices").children) each.disabled = true; // one touch, one answer
    const form = new FormData();
    form.append("csrf_token", sign());
    form.append("choice", choice);
    try {
      await fetch(address, { method: "POST", body: form, redirect: "manual", signal: AbortSignal.timeout(5000) });
    } catch {
      for (const each of byId("choices").children) each.disabled = false;
    }
  };

  addEventListener("journal", ({ detail: state }) => {
    if (state.attended === undefined) return;
    attended = state.attended;
    byId("heard").textContent = state.heard ? `“${state.heard}”` : "Nothing heard yet";
    byId("made").textContent = state.made;
    showAsked(state.asked);
    const fresh = state.answers.filter(([number]) => number > sending.after);
    const first = sending.after === 0;
    for (const [number] of fresh) sending.after = Math.max(sending.after, number);
    // What was answered before this page was opened is not said again; what comes late is only shown, as the phone is
    // deaf while it answers and somebody may be saying the next thing.
    if (!media || first) return;
    for (const [, verdict, words, late] of fresh) if (late < LATE_S) Answering.give(context, verdict, words);
  });

  // A voice memo, where the page may not have the microphone

  memo.querySelector("button").hidden = true; // what is recorded goes at once
  memo.addEventListener("submit", (event) => event.preventDefault());
  memo.querySelector("input[type=file]").addEventListener("change", async ({ target }) => {
    const [file] = target.files;
    const told = (category, words) => tellState({ told: [[category, words]] });
    if (!file) return;
    try {
      const sound = await new OfflineAudioContext(1, 1, RATE).decodeAudioData(await file.arrayBuffer());
      if (sound.duration > minutes * 60) throw new RangeError(`longer than ${minutes} minutes: send it in parts`);
      const samples = new Int16Array(sound.length);
      for (let channel = 0; channel < sound.numberOfChannels; channel++) {
        sound.getChannelData(channel).forEach((value, at) => {
          samples[at] += Math.round((Math.max(-1, Math.min(1, value)) * 32767) / sound.numberOfChannels);
        });
      }
      const ended = Math.min(Date.now(), Math.max(file.lastModified, Date.now() - 11.5 * 3600 * 1000));
      const stream = sending.begin(ended - sound.duration * 1000);
      stream.add(samples);
      stream.over = true;
      told("good", `${file.name} is on its way`);
    } catch (error) {
      if (error instanceof RangeError) told("danger", `${file.name} is ${error.message}`);
      else await asItIs(file, told);
    }
    target.value = "";
  });

  const asItIs = async (file, told) => {
    const form = new FormData();
    form.append("csrf_token", sign());
    form.append("memo", file, file.name);
    try {
      const answer = await fetch(memo.action, { method: "POST", body: form, headers: { Accept: "application/json" } });
      tellState(await answer.json());
    } catch {
      told("danger", `${file.name} did not get through: choose it again when the network is back`);
    }
  };

  showState();
})();

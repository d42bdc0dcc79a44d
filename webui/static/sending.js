"use strict";
// Sound that goes to the journal: kept here until it is acknowledged, sent in order, sent again when the line is back.
// What there is of a stream at the other end is its answer to every piece; from there on it is sent.

const RATE = 16000;

class Stream {
  constructor(began) {
    this.name();
    this.began = began; // milliseconds since 1970 by this phone's clock, of its first sample
    this.parts = [];
    this.have = 0; // samples that are acknowledged
    this.end = 0; // samples recorded
    this.over = false;
  }

  name() {
    const bytes = crypto.getRandomValues(new Uint8Array(8));
    this.id = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  add(samples) {
    this.parts.push({ at: this.end, samples });
    this.end += samples.length;
  }

  // Samples that are not acknowledged, at most so many.
  next(most) {
    const piece = new Int16Array(Math.min(most, this.end - this.have));
    for (const { at, samples } of this.parts) {
      const from = Math.max(this.have, at);
      const to = Math.min(this.have + piece.length, at + samples.length);
      if (from < to) piece.set(samples.subarray(from - at, to - at), from - this.have);
    }
    return piece;
  }

  // How long ago a sample was recorded, seconds.
  age(sample) {
    return Math.max(0, (Date.now() - this.began - (sample * 1000) / RATE) / 1000);
  }

  acknowledged(have) {
    const first = this.parts[0]?.at ?? this.end;
    if (have < first) this.anew(first);
    else {
      this.have = Math.min(have, this.end);
      while (this.parts.length && this.parts[0].at + this.parts[0].samples.length <= this.have) this.parts.shift();
    }
  }

  // The other end has lost what it had: what is left here becomes a stream of its own.
  anew(first) {
    this.name();
    this.began += (first * 1000) / RATE;
    for (const part of this.parts) part.at -= first;
    this.end -= first;
    this.have = 0;
  }
}

class Sending {
  // `address` of the sound; `sign`, the form's; `heard`, takes each answer; `refused`, takes why nothing is taken.
  constructor({ address, sign, most, heard, refused }) {
    Object.assign(this, { address, sign, most, heard, refused });
    this.streams = [];
    this.answeredAt = 0;
    this.after = 0;
    this.full = false;
    this.lost = false;
    this.wake = () => {};
    addEventListener("online", () => this.wake());
    this.work();
  }

  // Samples that wait for their acknowledgement.
  get kept() {
    return this.streams.reduce((sum, stream) => sum + stream.end - stream.have, 0);
  }

  get hasRoom() {
    return this.kept < this.most;
  }

  begin(began) {
    const stream = new Stream(began);
    this.streams.push(stream);
    return stream;
  }

  drop() {
    this.streams.length = 0;
  }

  async pause(milliseconds) {
    await new Promise((later) => {
      this.wake = later;
      setTimeout(later, milliseconds);
    });
  }

  async work() {
    for (;;) {
      const stream = this.streams.find((each) => each.over || each.end - each.have >= RATE / 4);
      if (!stream) {
        await this.pause(30);
        continue;
      }
      try {
        await this.send(stream);
        this.lost = false;
      } catch {
        this.lost = true;
        await this.pause(1000);
      }
    }
  }

  async send(stream) {
    const rest = stream.end - stream.have;
    const piece = stream.next(8 * RATE);
    const place = rest ? stream.have : "end";
    const query = `age=${stream.age(stream.have + piece.length).toFixed(3)}&after=${this.after}`;
    const answer = await fetch(`${this.address}/${stream.id}/${place}?${query}`, {
      method: "POST",
      body: piece,
      headers: { Accept: "application/json", "Content-Type": "application/octet-stream", "X-CSRFToken": this.sign() },
      signal: AbortSignal.timeout(10000),
    });
    if (answer.redirected || answer.status === 403 || answer.status === 404) {
      this.drop();
      this.refused("this phone was put out, or the job is gone: reload this page to be let in again");
      return;
    }
    if (answer.status >= 500) throw new Error("the journal could not answer");
    const state = await answer.json();
    this.answeredAt = performance.now();
    if (answer.status === 400) {
      this.streams = this.streams.filter((each) => each !== stream);
      this.refused(state.refused);
      return;
    }
    this.full = Boolean(state.full);
    if (state.have !== undefined && rest) stream.acknowledged(state.have);
    else if (answer.ok) this.streams = this.streams.filter((each) => each !== stream);
    this.heard(state);
    if (this.full) await this.pause(2000);
  }
}

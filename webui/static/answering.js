"use strict";
// Says the journal's answers on this phone: in words where a voice is there without the network, else by a tone.

const Answering = {
  PITCHES: { take: [880], ask: [660, 880], "let go": [330] }, // hertz, as at the shop's own machine
  TONE_S: 0.12,
  AFTER_MS: 250, // how long a room goes on sounding
  until: 0,
  last: Promise.resolve(),

  // Whether it sounds now: the phone must not hear itself.
  get sounding() {
    return performance.now() < this.until;
  },

  voice() {
    const voices = window.speechSynthesis?.getVoices() ?? [];
    return voices.find((voice) => voice.localService && voice.lang.toLowerCase().startsWith("en"));
  },

  // Some phones speak only after a voice was first used by a touch.
  ready() {
    if (this.voice()) speechSynthesis.speak(new SpeechSynthesisUtterance(""));
  },

  give(context, verdict, words) {
    this.last = this.last.then(async () => {
      this.until = performance.now() + 15000;
      try {
        if (words && this.voice()) await this.speak(words);
        else if (context) await this.tone(context, verdict);
      } finally {
        this.until = performance.now() + this.AFTER_MS;
      }
    });
  },

  speak(words) {
    return new Promise((done) => {
      const said = new SpeechSynthesisUtterance(words);
      said.voice = this.voice();
      said.onend = said.onerror = done;
      setTimeout(done, 12000);
      speechSynthesis.speak(said);
    });
  },

  async tone(context, verdict) {
    const pitches = this.PITCHES[verdict] ?? this.PITCHES["let go"];
    const begin = context.currentTime;
    pitches.forEach((pitch, at) => {
      const from = begin + at * this.TONE_S;
      const tone = new OscillatorNode(context, { frequency: pitch });
      const loudness = new GainNode(context, { gain: 0 });
      loudness.gain.setValueAtTime(0, from);
      loudness.gain.linearRampToValueAtTime(0.3, from + 0.01);
      loudness.gain.setValueAtTime(0.3, from + this.TONE_S - 0.01);
      loudness.gain.linearRampToValueAtTime(0, from + this.TONE_S);
      tone.connect(loudness).connect(context.destination);
      tone.start(from);
      tone.stop(from + this.TONE_S);
    });
    await new Promise((later) => setTimeout(later, 1000 * this.TONE_S * pitches.length));
  },
};

"use strict";
// Runs where the browser makes sound: gathers it to blocks of 16-bit samples and says when each was recorded.

class Samples extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Int16Array(512);
    this.filled = 0;
  }

  process([[channel]]) {
    for (const value of channel ?? []) {
      this.block[this.filled++] = Math.round(Math.max(-1, Math.min(1, value)) * 32767);
      if (this.filled === this.block.length) {
        this.port.postMessage({ at: Date.now(), samples: this.block }, [this.block.buffer]);
        this.block = new Int16Array(512);
        this.filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("samples", Samples);

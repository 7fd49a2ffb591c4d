// The page's ear: samples as they come, a quarter of a second at a time, as 16-bit integers.
class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Int16Array(Math.round(sampleRate / 4));
    this.filled = 0;
  }
  process(inputs) {
    const input = inputs[0];
    if (!input.length) return true;
    const mono = input[0];
    for (let k = 0; k < mono.length; k++) {
      let sample = 0;
      for (const channel of input) sample += channel[k];
      sample = Math.max(-1, Math.min(1, sample / input.length));
      this.block[this.filled++] = Math.round(sample * 32767);
      if (this.filled === this.block.length) {
        this.port.postMessage(this.block.buffer, [this.block.buffer]);
        this.block = new Int16Array(Math.round(sampleRate / 4));
        this.filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("ear", Ear);

// The recording: plays a span and stops at its end, or goes on from a word.

const SPEEDS = [0.5, 0.75, 1, 1.25, 1.5, 2];

export class Sound {
  constructor(element, say) {
    this.element = element;
    this.say = say;
    this.stopAt = Infinity;
    if (!element) return;
    element.preservesPitch = true;
    element.addEventListener("timeupdate", () => this.#check());
    element.addEventListener("pause", () => { this.stopAt = Infinity; this.say(""); });
    element.addEventListener("playing", () => { this.say("playing"); this.#watch(); });
    element.addEventListener("error", () => this.say("The sound could not be played here."));
  }
  #check() {
    if (this.element.currentTime * 1000 >= this.stopAt) this.element.pause();
  }
  #watch() {
    if (this.element.paused) return;
    this.#check();
    requestAnimationFrame(() => this.#watch());
  }
  async play(startMs, endMs = Infinity) {
    if (!this.element) return;
    this.element.currentTime = startMs / 1000;
    this.stopAt = endMs;
    try {
      await this.element.play();
    } catch (error) {
      if (error.name !== "AbortError") this.say("The sound could not be played here.");
    }
  }
  toggle() {
    if (!this.element) return;
    if (this.element.paused) this.play(this.element.currentTime * 1000);
    else this.element.pause();
  }
  back() {
    if (!this.element) return;
    this.element.currentTime = Math.max(0, this.element.currentTime - 3);
    if (this.element.paused) this.toggle();
  }
  speed(step) {
    if (!this.element) return;
    const now = SPEEDS.indexOf(this.element.playbackRate);
    const next = SPEEDS[Math.min(Math.max((now < 0 ? 2 : now) + step, 0), SPEEDS.length - 1)];
    this.element.playbackRate = next;
    this.say(`speed ${next}`);
  }
}

// What one touch does to a line: a strip that stands at the line under the pointer, or else at the chosen one.

export class Tools {
  /** `use(line, key)` does what the key does. */
  constructor(strip, use) {
    this.strip = strip;
    this.does = use;
    document.addEventListener("pointerover", (event) => {
      const line = event.pointerType === "mouse" && event.target.closest?.(".line");
      if (line) this.at(line);
    });
  }
  at(line) {
    if (!line.dataset.slots || this.strip.parentElement === line) return;
    line.append(this.strip);
    this.strip.hidden = false;
  }
  use(key) {
    const line = this.strip.closest(".line");
    if (line) this.does(line, key);
  }
}

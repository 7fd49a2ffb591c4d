// The words around a line: unfolded under it, played from, chosen, and the lines that rest on them.

import { ask, tell } from "./page.js";

export class Words {
  /** `chosen(line, word)`: a word was chosen. */
  constructor(visit, sound, chosen) {
    this.chosen = chosen;
    this.visit = visit;
    this.sound = sound;
    this.line = null;
    this.first = this.last = null;
  }
  /** Unfold the words of a line; `again` where they are to be loaded anew. */
  async unfold(line) {
    if (this.line && this.line !== line) this.fold();
    this.line = line;
    const box = line.querySelector(".unfolded");
    box.hidden = false;
    if (box.querySelector(".heard-words")) return;
    const { i0, i1 } = line.dataset;
    const { status, data } = await ask(`/visits/${this.visit}/words?i0=${i0}&i1=${i1}`);
    if (status !== 200 || box.querySelector(".heard-words")) return;
    if (!data.length) return;
    box.prepend(this.#paragraph(data, Number(i0), Number(i1), line.dataset.line));
  }
  fold() {
    if (this.line) {
      const box = this.line.querySelector(".unfolded");
      if (box) box.hidden = true;
    }
    this.line = this.first = this.last = null;
    mark([]);
  }
  #paragraph(words, i0, i1, line) {
    const text = document.createElement("p");
    text.className = "heard-words";
    for (const word of words) {
      const piece = document.createElement("span");
      piece.className = "word";
      if (word.i >= i0 && word.i < i1 && word.lines.includes(line)) piece.classList.add("own-word");
      if (word.unsure) piece.classList.add("unsure");
      if (word.edited) piece.classList.add("edited");
      piece.textContent = word.text;
      piece.dataset.word = word.i;
      piece.dataset.start = word.start_ms;
      piece.dataset.end = word.end_ms;
      piece.dataset.lines = word.lines.join(" ");
      piece.dataset.other = word.other;
      piece.tabIndex = -1;
      piece.setAttribute("role", "button");
      const notes = [word.unsure ? "unsure" : "", word.other ? `or: ${word.other}` : "", word.edited ? "put right" : ""];
      const more = notes.filter(Boolean).join(", ");
      if (more) piece.setAttribute("aria-label", `${word.text} (${more})`);
      if (more) piece.title = more;
      text.append(piece, " ");
    }
    return text;
  }
  all() {
    return this.line ? [...this.line.querySelectorAll(".word")] : [];
  }
  /** Choose the word before or after; with `more` the stretch grows. */
  step(by, more) {
    const all = this.all();
    if (!all.length) return false;
    const at = this.last ? all.indexOf(this.last) : all.findIndex((w) => w.classList.contains("own-word")) - (by > 0 ? 1 : 0);
    const next = all[Math.min(Math.max(at + by, 0), all.length - 1)];
    this.choose(next, more);
    return true;
  }
  choose(word, more = false) {
    this.last = word;
    if (!more || !this.first) this.first = word;
    const all = this.all();
    const [a, b] = [all.indexOf(this.first), all.indexOf(this.last)].sort((x, y) => x - y);
    all.forEach((w, i) => w.classList.toggle("chosen", i >= a && i <= b));
    word.focus();
    this.chosen(this.line, word);
    const lines = word.dataset.lines.split(" ").filter(Boolean);
    mark(lines);
    tell(lines.length ? `${word.textContent}: ${lines.length === 1 ? "1 line rests" : `${lines.length} lines rest`} on it` : `${word.textContent}: no line rests on it`, 3);
  }
  playFrom(word) {
    this.sound.play(Number(word.dataset.start));
  }
  /** The chosen stretch, or null: start_ms, end_ms, heard. */
  stretch() {
    const chosen = this.all().filter((w) => w.classList.contains("chosen"));
    if (!chosen.length) return null;
    return {
      start_ms: Number(chosen[0].dataset.start),
      end_ms: Number(chosen.at(-1).dataset.end),
      heard: chosen.map((w) => w.textContent).join(" "),
    };
  }
}

/** Show which lines rest on the chosen word. */
function mark(lines) {
  for (const line of document.querySelectorAll(".line.rests")) line.classList.remove("rests");
  for (const key of lines) document.getElementById(`line-${key}`)?.classList.add("rests");
}

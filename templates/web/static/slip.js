// The slip: one form at the foot of the page for whatever is typed. It stays until what it holds is saved.

import { ask } from "./page.js";

const OWN_WORDS = "written.note";

/** A text field whose list of matches comes from the vocabulary; `take` gets what was chosen. */
class Finder {
  constructor(input, list, find, take) {
    Object.assign(this, { input, list, find, take, found: [], at: -1, asked: 0, busy: null });
    input.addEventListener("input", () => this.look());
    input.addEventListener("keydown", (event) => this.#key(event));
    input.addEventListener("blur", () => setTimeout(() => this.close(), 150));
    list.addEventListener("pointerdown", (event) => {
      const option = event.target.closest("[role=option]");
      if (!option) return;
      event.preventDefault();
      this.choose(Number(option.dataset.at));
    });
  }
  async look() {
    const mine = ++this.asked;
    delete this.input.dataset.key;
    const text = this.input.value.trim();
    if (!text) return this.close();
    await this.busy; // one question at a time; what was typed over meanwhile is not asked
    if (mine !== this.asked) return;
    this.busy = this.find(text);
    const found = await this.busy;
    if (mine !== this.asked) return;
    this.found = found;
    this.at = found.length ? 0 : -1;
    this.#show();
  }
  #show() {
    this.list.replaceChildren(...this.found.map((entry, i) => {
      const option = document.createElement("span");
      option.setAttribute("role", "option");
      option.id = `${this.list.id}-${i}`;
      option.dataset.at = i;
      option.textContent = entry.say;
      option.setAttribute("aria-selected", String(i === this.at));
      return option;
    }));
    const open = this.found.length > 0;
    this.list.hidden = !open;
    this.input.setAttribute("aria-expanded", String(open));
    if (open) this.input.setAttribute("aria-activedescendant", `${this.list.id}-${this.at}`);
    else this.input.removeAttribute("aria-activedescendant");
    this.list.querySelector("[aria-selected=true]")?.scrollIntoView({ block: "nearest" });
  }
  #key(event) {
    if (this.list.hidden) return;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      const by = event.key === "ArrowDown" ? 1 : -1;
      this.at = (this.at + by + this.found.length) % this.found.length;
      this.#show();
    } else if (event.key === "Enter" || event.key === "Tab") {
      if (event.key === "Enter") event.preventDefault();
      this.choose(this.at, event.key === "Enter");
    } else if (event.key === "Escape") {
      event.stopPropagation();
      this.close();
    }
  }
  choose(at, entered = false) {
    const entry = this.found[at];
    if (!entry) return;
    this.close();
    this.take(entry, entered);
  }
  close() {
    this.asked++;
    this.list.hidden = true;
    this.input.setAttribute("aria-expanded", "false");
    this.input.removeAttribute("aria-activedescendant");
  }
}

export class Slip {
  /** `save(change)` gives "" or why it was not saved. */
  constructor(form, save, visit) {
    this.visit = visit;
    this.form = form;
    this.save = save;
    this.f = form.elements;
    this.mode = null;
    this.back = null;
    const byId = (id) => document.getElementById(id);
    const entries = (what) => async (text) => {
      const { status, data } = await ask(`/vocabulary/${what}?q=${encodeURIComponent(text)}`);
      return status === 200 ? data.map((entry) => ({ ...entry, say: entry.label })) : [];
    };
    new Finder(this.f.concept, byId("l-concept"), entries("concepts"), (entry) => this.#concept(entry));
    new Finder(this.f.site, byId("l-site"), entries("sites"), (entry) => {
      this.f.site.value = entry.label;
      this.f.site.dataset.key = entry.id;
    });
    this.lines = new Finder(this.f.typed, byId("f-lines"), (text) => this.#read(text), (entry) => {
      this.chosen = entry.slots;
      if (entry.slots.concept !== OWN_WORDS) this.f.typed.value = entry.say;
      this.submit();
    });
    form.addEventListener("submit", (event) => { event.preventDefault(); this.submit(); });
    form.addEventListener("keydown", (event) => { // a list of choices would open on Enter instead of saving
      if (event.key === "Enter" && event.target.matches("select")) { event.preventDefault(); this.submit(); }
    });
    form.addEventListener("keydown", (event) => { if (event.key === "Escape") { event.preventDefault(); this.leave(); } });
    form.querySelector("[data-do=leave]").addEventListener("click", () => this.leave());
  }
  get open() { return this.mode !== null; }

  #begin(mode, title, quote, field) {
    this.mode = mode;
    this.back = document.activeElement;
    this.form.querySelector("#slip-title").textContent = title;
    this.form.querySelector("#slip-quote").textContent = quote;
    this.form.querySelector("#slip-fault").textContent = "";
    for (const part of this.form.querySelectorAll("[data-for]")) part.hidden = part.dataset.for !== mode;
    this.form.hidden = false;
    field.focus();
    if (field.select) field.select();
  }
  /** The form of a line; `field` names where to begin. */
  slots(line, slots, text, field = "concept", result = slots.result) {
    this.line = line;
    this.before = slots;
    const { concept, site } = this.f;
    concept.value = plain(slots.concept.split(".").at(-1));
    concept.dataset.key = slots.concept;
    site.value = plain(slots.site || "");
    if (slots.site) site.dataset.key = slots.site;
    else delete site.dataset.key;
    this.#results(null, result);
    this.f.side.value = slots.side;
    this.f.level.value = slots.level || "";
    this.f.value.value = slots.value ?? "";
    this.f.degree.value = slots.degree || "";
    this.f.reason.value = slots.reason || "";
    this.f.part.value = "";
    this.#begin("slots", "Put right", text, this.f[field]);
    this.#label(line, slots, result);
  }
  /** The names and results that the vocabulary has, as soon as they are there; what was typed meanwhile stays. */
  async #label(line, slots, result) {
    const [concept, site] = await Promise.all([one("concepts", slots.concept), slots.site ? one("sites", slots.site) : null]);
    if (this.mode !== "slots" || this.line !== line) return;
    for (const [input, entry] of [[this.f.concept, concept], [this.f.site, site]]) {
      if (!entry || input.dataset.key !== entry.id) continue;
      input.value = entry.label;
      if (document.activeElement === input) input.select();
    }
    if (this.f.concept.dataset.key === slots.concept && this.f.result.value === (result || "")) this.#results(concept, result);
  }
  #concept(entry) {
    this.f.concept.value = entry.label;
    this.f.concept.dataset.key = entry.id;
    this.#results(entry, this.f.result.value);
  }
  #results(concept, now) {
    const known = concept ? Object.entries(concept.results) : [];
    const all = [["", "not stated"], ...known, ["not_assessed", "not assessed"]];
    if (now && !all.some(([key]) => key === now)) all.push([now, plain(now)]);
    this.f.result.replaceChildren(...all.map(([key, label]) => new Option(label, key)));
    this.f.result.value = now || "";
    document.getElementById("f-unit").textContent = concept?.unit && concept.unit !== "1" ? concept.unit : "";
  }
  /** Not done: the result is set, only the reason is asked. */
  notDone(line, slots, text) {
    this.slots(line, slots, text, "reason", "not_assessed");
  }
  /** A new line: from a stretch of words, or typed for a time. */
  add({ start_ms, end_ms, heard = "", part = "", kind = "finding", closes = "", beside = "" }) {
    Object.assign(this, { start_ms, end_ms, part, kind, closes, beside, chosen: null });
    this.f.typed.value = heard;
    this.#begin("typed", "Add a line", heard ? `from the words “${heard}”` : "typed; it will say so", this.f.typed);
    if (heard) this.lines.look();
  }
  words({ start_ms, end_ms, heard }) {
    Object.assign(this, { start_ms, end_ms, heard });
    this.f.meant.value = heard;
    this.#begin("words", "Put the words right", `heard: “${heard}”`, this.f.meant);
  }
  text(point, say, asked) {
    Object.assign(this, { point, say });
    this.f.text.value = "";
    this.#begin("text", say, asked, this.f.text);
  }
  async #read(text) {
    const { status, data } = await ask(`/visits/${this.visit}/lines?beside=${encodeURIComponent(this.beside)}&q=${encodeURIComponent(text)}`);
    const own = { say: `in these words: ${text}`, slots: { kind: this.kind, concept: OWN_WORDS, detail: text, part: this.part || undefined } };
    return [...(status === 200 ? data : []), own];
  }
  #change() {
    const f = this.f;
    if (this.mode === "typed") {
      if (!this.chosen) return null;
      return { type: "add", slots: this.chosen, start_ms: this.start_ms, end_ms: this.end_ms, closes: this.closes };
    }
    if (this.mode === "words") {
      return { type: "words", start_ms: this.start_ms, end_ms: this.end_ms, heard: this.heard, meant: f.meant.value };
    }
    if (this.mode === "text") return { type: "choose", point: this.point, say: this.say, text: f.text.value };
    const now = {
      concept: f.concept.dataset.key ?? f.concept.value,
      site: f.site.value.trim() ? f.site.dataset.key ?? f.site.value : null,
      side: f.side.value,
      level: f.level.value.trim() || null,
      result: f.result.value || null,
      value: f.value.value.trim() ? Number(f.value.value.replace(",", ".")) : null,
      degree: f.degree.value || null,
      reason: f.reason.value.trim() || null,
    };
    const slots = Object.fromEntries(Object.entries(now).filter(([slot, value]) => value !== (this.before[slot] ?? null)));
    if (f.part.value) slots.part = f.part.value;
    return { type: "slots", line: this.line, slots };
  }
  async submit() {
    if (this.mode === "typed" && !this.chosen) { // Enter before the list was there
      await this.lines.look();
      this.lines.close();
      this.chosen = this.lines.found[0]?.slots ?? null;
    }
    const change = this.#change();
    const fault = this.form.querySelector("#slip-fault");
    if (!change) {
      fault.textContent = "Say what the line should be.";
      return;
    }
    if (change.type === "slots" && !Object.keys(change.slots).length) return this.leave();
    fault.textContent = "";
    const why = await this.save(change);
    if (why) fault.textContent = why;
    else this.#end();
  }
  leave() {
    const back = this.back;
    this.#end();
    if (back?.isConnected) back.focus({ preventScroll: true });
  }
  #end() {
    this.mode = null;
    this.form.hidden = true;
  }
}

const plain = (id) => id.replaceAll("_", " ");

async function one(what, key) {
  const { status, data } = await ask(`/vocabulary/${what}?key=${encodeURIComponent(key)}`);
  return status === 200 && data.length ? data[0] : null;
}

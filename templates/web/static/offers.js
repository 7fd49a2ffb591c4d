// What the unfolded line may mean otherwise, the most probable first: each is one key or one touch.

import { ask } from "./page.js";

const DIGITS = 9;

export class Offers {
  constructor(visit) {
    this.visit = visit;
    this.asked = 0;
    this.box = document.createElement("p");
    this.box.className = "choices offers";
    this.box.setAttribute("role", "group");
    this.box.setAttribute("aria-label", "It may mean");
  }
  /** Under a line, of it or of the sentence of a `word`; the digits begin after those that are `taken`. */
  async show(line, taken, word = "") {
    const mine = ++this.asked;
    this.box.remove();
    const { status, data } = await ask(`/visits/${this.visit}/offers?line=${encodeURIComponent(line.dataset.line)}${word && `&word=${word}`}`);
    if (status !== 200 || mine !== this.asked || !line.isConnected || !data.length) return;
    this.box.dataset.of = word;
    this.changes = data.map((offer) => offer.change);
    this.box.replaceChildren(...data.map((offer, i) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "choice";
      button.dataset.offer = i;
      const said = document.createElement("bdi");
      said.textContent = offer.say;
      if (i + taken < DIGITS) {
        const key = document.createElement("kbd");
        key.textContent = button.dataset.key = i + 1 + taken;
        button.append(key, " ");
      }
      button.append(said);
      return button;
    }));
    line.querySelector(".entry").insertBefore(this.box, line.querySelector(".unfolded"));
  }
  hide() {
    this.asked++;
    this.box.remove();
  }
  /** The button of a digit, where the offers stand under this line. */
  button(line, digit) {
    return line?.contains(this.box) ? this.box.querySelector(`[data-key="${digit}"]`) : null;
  }
  change(button) {
    return this.changes[Number(button.dataset.offer)];
  }
}

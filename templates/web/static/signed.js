// A signed note: its lines play; something may be added.

import { ask } from "./page.js";
import { recall, remember } from "./signer.js";
import { Sound } from "./sound.js";

const desk = document.getElementById("desk");
const form = document.getElementById("addition");
const fault = document.getElementById("fault");
const sound = new Sound(document.getElementById("sound"), () => {});
recall(form);
document.addEventListener("click", (event) => {
  const time = event.target.closest("button.time");
  if (time) sound.play(Number(time.dataset.start), Number(time.dataset.end));
});
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  fault.textContent = "";
  const addition = {};
  for (const name of ["kind", "line", "text", "reason", "name", "role"]) addition[name] = form.elements[name].value.trim();
  const { status, data } = await ask(`/visits/${desk.dataset.visit}/addenda`, {
    method: "POST", body: { version: Number(desk.dataset.version), addition },
  });
  if (status !== 200) {
    fault.textContent = data?.error || "It was not added.";
    return;
  }
  remember(form);
  location.replace(data.to);
});

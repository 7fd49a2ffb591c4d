// Signing: what was typed stays until it is signed.

import { ask } from "./page.js";
import { recall, remember } from "./signer.js";

const form = document.getElementById("signature");
const fault = document.getElementById("fault");
recall(form);
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  fault.textContent = "";
  const f = form.elements;
  const reasons = {};
  for (const input of form.querySelectorAll("[data-reason]")) if (input.value.trim()) reasons[input.dataset.reason] = input.value.trim();
  const signature = { reasons };
  for (const name of ["name", "role", "initials", "second", "second_role", "second_initials"]) signature[name] = f[name].value.trim();
  const { status, data } = await ask(`/visits/${form.dataset.visit}/signature`, {
    method: "POST", body: { version: Number(form.dataset.version), signature },
  });
  if (status !== 200) {
    fault.textContent = data?.error || "It was not signed.";
    return;
  }
  remember(form);
  location.replace(data.to);
});

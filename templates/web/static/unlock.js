// The passphrase of the record; what was asked for comes when it is right.

import { ask } from "./page.js";

const form = document.getElementById("unlock");
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  const { status, data } = await ask("/unlock", { method: "POST", body: { passphrase: form.elements.passphrase.value } });
  if (status === 204) location.reload();
  else {
    document.getElementById("fault").textContent = data.error;
    button.disabled = false;
    form.elements.passphrase.select();
  }
});

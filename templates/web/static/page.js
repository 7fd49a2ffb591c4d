// What every page does: tells, asks the program, and covers itself when the person is away.

/** Say something in the live region at the foot of the page; "" takes it away. */
export function tell(text, seconds = 0) {
  const told = document.getElementById("told");
  told.textContent = text;
  if (seconds) setTimeout(() => { if (told.textContent === text) told.textContent = ""; }, seconds * 1000);
}

/** Ask the program. Gives {status, data}; status 0 = it does not answer. `attended`: the person did it. */
export async function ask(path, { method = "GET", body, attended = true } = {}) {
  const headers = { accept: "application/json" };
  if (body !== undefined) headers["content-type"] = "application/json";
  if (!attended) headers["x-unattended"] = "1";
  try {
    const answer = await fetch(path, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) });
    const isJson = (answer.headers.get("content-type") || "").includes("json");
    if (answer.status === 423 || answer.status === 401) cover();
    return { status: answer.status, data: isJson ? await answer.json() : null };
  } catch {
    return { status: 0, data: { error: "The program does not answer. Start it again; nothing that was saved is lost." } };
  }
}

// ---------------------------------------------------------------- away

const lockAfter = Number(document.body.dataset.lockAfter) * 1000;
let active = Date.now();
let touched = Date.now();
let away = null;

function cover() {
  if (away) return;
  away = document.createElement("div");
  away.className = "away";
  away.setAttribute("role", "alertdialog");
  away.setAttribute("aria-label", "Locked");
  const words = document.createElement("p");
  words.textContent = "Locked. Open the link again that the program showed when it started; this page then goes on where it was.";
  const again = document.createElement("button");
  again.textContent = "Go on";
  again.addEventListener("click", uncover);
  away.append(words, again);
  for (const part of document.body.children) part.inert = true;
  document.body.append(away);
  again.focus();
}
async function uncover() {
  if (!away) return;
  let open = false;
  try {
    open = (await fetch("/alive", { headers: { "x-unattended": "1" } })).status === 204;
  } catch {
    open = false;
  }
  if (!open || !away) return;
  away.remove();
  away = null;
  active = Date.now();
  for (const part of document.body.children) part.inert = false;
}

function present() {
  if (away) return;
  active = Date.now();
  if (active - touched > lockAfter / 3) { // reading without asking is being there too
    touched = active;
    fetch("/alive").catch(() => {});
  }
}
for (const kind of ["keydown", "pointerdown", "wheel"]) addEventListener(kind, present, { passive: true });
addEventListener("focus", uncover);
setInterval(() => { if (Date.now() - active > lockAfter) cover(); }, 5000);

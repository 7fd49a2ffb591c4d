// The board: shows what the program sends, and says so when nothing comes any more. It asks for no hand.

const board = document.getElementById("board");
const state = document.getElementById("state");
const elapsed = document.getElementById("clock");
const signs = document.getElementById("signs");
const SILENT_MS = 4000;
let source = null;
let came = Date.now();

function stand(name, words, clock, dangers) {
  document.body.dataset.state = name;
  if (state.textContent !== words) state.textContent = words;
  elapsed.textContent = clock;
  signs.textContent = "◇".repeat(Math.min(dangers, 5));
}

function listen() {
  if (source) source.close();
  source = new EventSource("/board/feed");
  source.addEventListener("board", (event) => {
    came = Date.now();
    board.innerHTML = JSON.parse(event.data).html; // rendered and escaped by the program's own template
  });
  source.addEventListener("state", (event) => {
    came = Date.now();
    const told = JSON.parse(event.data);
    stand(told.state, told.words, told.state === "none" ? "" : told.clock, told.dangers);
    if (told.state === "none") board.replaceChildren();
  });
}

// A screen that stopped being true must not go on looking true.
setInterval(() => {
  if (Date.now() - came < SILENT_MS) return;
  board.replaceChildren();
  stand("away", "No word from the program: look at the recorder", "", 0);
  came = Date.now() - SILENT_MS / 2;
  listen();
}, 1000);

async function keepAwake() {
  try {
    if (document.visibilityState === "visible") await navigator.wakeLock.request("screen");
  } catch { /* the browser has none, or does not give it now: the screen's own settings decide */ }
}
document.addEventListener("visibilitychange", keepAwake);
keepAwake();
listen();

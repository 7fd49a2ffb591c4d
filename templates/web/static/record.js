// Records: microphone -> numbered blocks -> socket. A block is forgotten only when the program says that it is on disk.

import { ask, tell } from "./page.js";

const $ = (id) => document.getElementById(id);
const before = $("before"), during = $("during"), after = $("after");
const AGAIN_MS = 1000, SURE_MS = 4000, PRESENT_MS = 60000;
const waiting = new Map(); // number -> block with its number in front, not yet on disk
let socket = null, context = null, opening = null, number = 0, going = false, ended = false, shownAt = 0, sure = 0, off = false, paused = false;

// ---------------------------------------------------------------- sound

async function openMicrophone() {
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
  });
  if (!context) {
    context = new AudioContext(); // at the device's own rate: the program resamples, and better
    await context.audioWorklet.addModule("/static/worklet.js");
  }
  const ear = new AudioWorkletNode(context, "ear", { numberOfOutputs: 0 });
  ear.port.onmessage = (event) => { if (going) keep(event.data); };
  context.createMediaStreamSource(stream).connect(ear);
  await context.resume();
  stream.getAudioTracks()[0].addEventListener("ended", () => {
    ear.disconnect();
    if (!going) return;
    say({ do: "lost", why: "the microphone is gone" });
    again();
  });
}
async function again() {
  while (going) {
    try { return await openMicrophone(); } catch { await new Promise((done) => setTimeout(done, AGAIN_MS)); }
  }
}
function keep(samples) {
  const block = new Uint8Array(4 + samples.byteLength);
  new DataView(block.buffer).setUint32(0, number, true);
  block.set(new Uint8Array(samples), 4);
  waiting.set(number, block);
  if (open()) socket.send(block);
  number += 1;
}

// ---------------------------------------------------------------- the program

const open = () => socket && socket.readyState === WebSocket.OPEN && opening === null;
function say(message) { if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message)); }

function connect(first) {
  opening = first;
  socket = new WebSocket(`ws://${location.host}/record/sound`);
  socket.binaryType = "arraybuffer";
  socket.addEventListener("open", () => say({ ...opening, rate: context.sampleRate }));
  socket.addEventListener("message", (event) => heard(JSON.parse(event.data)));
  socket.addEventListener("close", () => {
    if (ended || !going) return;
    setTimeout(() => connect({ do: "go_on" }), AGAIN_MS);
  });
}
function heard(told) {
  if (told.error) { tell(told.error); if (opening && opening.do === "begin") refused(); }
  if (told.begun !== undefined) {
    if (opening.do === "begin" || number < told.next) number = told.next;
    opening = null;
    going = true;
    before.hidden = true;
    during.hidden = false;
    for (const [at, block] of waiting) if (at >= told.next) socket.send(block);
  }
  if (told.next !== undefined) for (const at of [...waiting.keys()]) if (at < told.next) waiting.delete(at);
  if (told.shown && (going || ended)) show(told.shown);
  if (told.destroyed) { $("ended").textContent = "What was recorded is destroyed; nothing of it is kept."; $("destroy").hidden = true; finish(); }
}
function refused() { opening = null; socket.close(); $("start").disabled = false; }

// ---------------------------------------------------------------- the screen

function show(shown) {
  shownAt = Date.now();
  off = shown.off;
  paused = shown.state === "paused";
  during.dataset.state = shown.off && shown.state === "recording" ? "off" : shown.state;
  write("state", shown.words);
  $("clock").textContent = shown.clock;
  $("level").value = shown.level;
  $("room").textContent = `${room(shown.minutes)} of room${shown.marks ? `, ${shown.marks} marks` : ""}`;
  write("faults", shown.faults.join(" "));
  $("pause").textContent = paused ? "Go on" : "Pause";
  $("off").textContent = off ? "On the record again" : "Off the record";
  if (shown.state !== "ended") return;
  if (!ended) stop();
  during.hidden = true;
  after.hidden = false;
  write("ended", `Recording ended: ${shown.ended}.`);
  $("destroy").hidden = !(shown.withdrawn && !shown.sealed);
  const drafted = $("drafted");
  if (shown.fault) drafted.textContent = shown.fault;
  else if (shown.visit && !drafted.querySelector("a")) {
    const link = document.createElement("a");
    link.href = `/visits/${shown.visit}`;
    link.textContent = "Read the draft";
    drafted.replaceChildren(link);
  } else if (!shown.visit) drafted.textContent = shown.sealed ? "It is being drafted. You may leave this page." : "";
  if (shown.visit || shown.fault) finish();
}
const room = (minutes) => (minutes < 120 ? `${minutes} minutes` : minutes < 6000 ? `${Math.floor(minutes / 60)} hours` : "more than 100 hours");
function write(id, text) { if ($(id).textContent !== text) $(id).textContent = text; }
function stop() {
  ended = true;
  going = false;
  if (context) context.close();
}
function finish() { stop(); socket.close(); }

setInterval(() => {
  if (!going || Date.now() - shownAt < 3000) return;
  during.dataset.state = "away";
  write("state", `No connection: ${Math.round(waiting.size / 4)} seconds are kept in this page. Do not close it.`);
}, 500);
setInterval(() => { if (going) dispatchEvent(new Event("wheel")); }, PRESENT_MS); // who records is there: do not lock

// ---------------------------------------------------------------- hands

before.addEventListener("submit", async (event) => {
  event.preventDefault();
  $("start").disabled = true;
  const told = {};
  for (const id of ["infant", "born", "age"]) if ($(id).value.trim()) told[id] = $(id).value.trim();
  if ($("gestation").value) told.gestation_weeks = Number($("gestation").value);
  try {
    await openMicrophone();
  } catch (error) {
    tell(`No microphone can be used (${error.message}). Plug one in, and allow this page to use it.`);
    $("start").disabled = false;
    return;
  }
  awake();
  connect({ do: "begin", told, consent: $("consent").value });
});
$("end").addEventListener("click", () => {
  if (Date.now() - sure > SURE_MS) {
    sure = Date.now();
    $("end").textContent = "Press again to end";
    $("end").dataset.sure = "";
    setTimeout(() => { $("end").textContent = "End"; delete $("end").dataset.sure; }, SURE_MS);
  } else say({ do: "end" });
});
$("mark").addEventListener("click", () => say({ do: "mark" }));
$("pause").addEventListener("click", () => say({ do: paused ? "resume" : "pause" }));
$("off").addEventListener("click", () => say({ do: off ? "keep" : "drop" }));
$("back").addEventListener("click", () => say({ do: "take_back" }));
$("withdraw").addEventListener("click", () => say({ do: "withdraw" }));
$("destroy-now").addEventListener("click", () => say({ do: "destroy" }));
$("keep").addEventListener("click", () => say({ do: "seal" }));

$("recover")?.addEventListener("click", async () => {
  const answer = await ask("/record/recover", { method: "POST" });
  if (answer.status === 204) { $("left").remove(); tell("Sealed; it is being drafted.", 8); } else tell(answer.data.error);
});

async function awake() {
  try { await navigator.wakeLock.request("screen"); } catch { /* the screen's own settings decide */ }
}
document.addEventListener("visibilitychange", () => { if (going && document.visibilityState === "visible") awake(); });
addEventListener("beforeunload", (event) => { if (going) event.preventDefault(); });

if (before.hidden) { // this recording was begun by a page that is gone: go on with it
  going = true;
  openMicrophone().then(() => connect({ do: "go_on" }), (error) => tell(`No microphone can be used (${error.message}).`));
}

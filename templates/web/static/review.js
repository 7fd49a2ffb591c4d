// The draft under review: going through it by key or touch, and saving each change before it is called saved.

import { ask, tell } from "./page.js";
import { Offers } from "./offers.js";
import { Slip } from "./slip.js";
import { Sound } from "./sound.js";
import { Tools } from "./tools.js";
import { Words } from "./words.js";

const desk = document.getElementById("desk");
const visit = desk.dataset.visit;
const sound = new Sound(document.getElementById("sound"), (text) => {
  const heard = document.getElementById("heard");
  if (heard) heard.textContent = text;
});
const words = new Words(visit, sound, (line, word) => offers.show(line, 0, word.dataset.word));
const slip = new Slip(document.getElementById("slip"), save, visit);
const offers = new Offers(visit);
const keys = document.getElementById("keys");
const single = document.getElementById("single");
let version = Number(desk.dataset.version);
let current = null;
let point = null;
let opening = false;
let waiting = Promise.resolve("");

// ---------------------------------------------------------------- saving

/** Save one change after those before it; gives "" when it is on disk, else why it is not. */
function save(change) {
  const mine = waiting.then(() => send(change));
  waiting = mine.catch(() => "");
  return mine;
}
async function send(change) {
  state("saving …");
  const { status, data } = await ask(`/visits/${visit}/changes`, { method: "POST", body: { version, change } });
  if (status === 200) {
    show(data);
    state(`saved ${new Date().toTimeString().slice(0, 5)}`);
    channel.postMessage(version);
    if (change.type === "words" && change.meant.trim()) offer(change);
    return "";
  }
  const why = data?.error || "It was not saved.";
  state("not saved", true);
  if (status === 409) await refresh();
  tell(why, 12);
  return why;
}
/** A word put right may be kept as one of the clinician's own. */
function offer({ heard, meant }) {
  document.getElementById("offer-heard").textContent = heard;
  document.getElementById("offer-meant").textContent = meant;
  document.getElementById("offer").hidden = false;
}
async function learn() {
  const [heard, meant] = ["offer-heard", "offer-meant"].map((id) => document.getElementById(id).textContent);
  const { status, data } = await ask("/vocabulary/own", { method: "POST", body: { heard, meant } });
  document.getElementById("offer").hidden = true;
  tell(status === 200 ? "Kept; used from the next start on." : data?.error || "It was not kept.", 8);
}
function state(text, fault = false) {
  const saved = document.getElementById("saved");
  saved.textContent = text;
  saved.classList.toggle("fault", fault);
}
async function refresh() {
  const { status, data } = await ask(`/visits/${visit}/sheet`, { attended: false });
  if (status === 200) show(data);
}
const channel = new BroadcastChannel(`handspoken-${visit}`);
channel.addEventListener("message", (event) => { if (event.data > version) refresh(); });

function show(shown) {
  version = shown.version;
  const focused = document.activeElement?.id;
  const unfolded = words.line?.dataset.line;
  words.fold();
  offers.hide();
  for (const [id, html] of Object.entries(shown.pieces)) replace(id, html);
  const parts = document.getElementById("parts");
  for (const part of [...parts.children]) if (!shown.order.includes(part.id)) part.remove();
  shown.order.forEach((id, at) => {
    const part = document.getElementById(id);
    if (parts.children[at] !== part) parts.insertBefore(part, parts.children[at] || null);
  });
  document.getElementById("count").textContent = counted(shown.open);
  desk.dataset.undo = shown.can_undo ? "yes" : "";
  desk.dataset.redo = shown.can_redo ? "yes" : "";
  able();
  if (current) pick(lineOf(current), { focus: false });
  if (unfolded && lineOf(unfolded)) unfold(lineOf(unfolded));
  if (focused && document.activeElement?.id !== focused) document.getElementById(focused)?.focus({ preventScroll: true });
  if (point && !pointElement()) goPoint(1, null);
}
function replace(id, html) {
  const made = document.createElement("template");
  made.innerHTML = html.trim();
  for (const same of made.content.querySelectorAll("[data-same]")) same.replaceWith(document.getElementById(same.id));
  const old = document.getElementById(id);
  if (id === "figure") old.replaceChildren(made.content);
  else if (old) old.replaceWith(made.content);
  else document.getElementById("parts").append(made.content);
}
const counted = (n) => n === 0 ? "no point left to check" : `${n} point${n === 1 ? "" : "s"} to check`;
function able() {
  document.querySelector("[data-do=undo]").disabled = !desk.dataset.undo;
  document.querySelector("[data-do=redo]").disabled = !desk.dataset.redo;
}

// ---------------------------------------------------------------- going

const lines = () => [...document.querySelectorAll(".line")];
const lineOf = (key) => document.getElementById(`line-${key}`);
const slotsOf = (line) => line?.dataset.slots ? JSON.parse(line.dataset.slots) : null;
const textOf = (line) => line.querySelector(".text bdi")?.textContent || "";

function pick(line, { focus = true } = {}) {
  for (const old of document.querySelectorAll(".line.current")) { old.classList.remove("current"); old.tabIndex = -1; }
  if (!line) return;
  current = line.dataset.line;
  line.classList.add("current");
  line.tabIndex = 0;
  tools.at(line);
  if (focus) {
    line.focus({ preventScroll: true });
    line.scrollIntoView({ block: "nearest" });
  }
}
function step(by) {
  const all = lines();
  if (!all.length) return;
  const at = all.findIndex((line) => line.dataset.line === current);
  point = null;
  pick(all[at < 0 ? 0 : Math.min(Math.max(at + by, 0), all.length - 1)]);
}
/** Open points, the most pressing first; of one kind from the top. */
function points() {
  const all = [...document.querySelectorAll(".point:not(.answered, .saving)")];
  return all.map((p, i) => [Number(p.dataset.rank), i, p]).sort((a, b) => a[0] - b[0] || a[1] - b[1]).map((row) => row[2]);
}
function goPoint(by, after = point) {
  const all = points();
  if (!all.length) {
    point = null;
    tell("No point is left to check.", 4);
    return;
  }
  const at = all.findIndex((p) => p.dataset.point === after);
  onPoint(all[at < 0 ? (by > 0 ? 0 : all.length - 1) : (at + by + all.length) % all.length]);
}
function onPoint(element) {
  point = element.dataset.point;
  const line = element.closest(".line");
  if (line) pick(line, { focus: false });
  element.focus({ preventScroll: true });
  if (line?.classList.contains("loose")) unfold(line);
  element.scrollIntoView({ block: "center" });
}
const pointElement = () => point ? document.getElementById(`point-${point}`) : null;

/** The answer is shown at once, and the next point; it is called saved when it is on disk. */
async function answer(element, button) {
  const key = element.dataset.point;
  const line = element.closest(".line");
  if (button.dataset.opens) return opens(button.dataset.opens, line, element);
  if ("text" in button.dataset) return slip.text(key, button.dataset.say, element.querySelector(".asks bdi").textContent);
  const order = points().map((p) => p.dataset.point);
  const next = order[order.indexOf(key) + 1] ?? order.find((id) => id !== key);
  element.classList.add("saving");
  button.setAttribute("aria-pressed", "true");
  if (next) onPoint(document.getElementById(`point-${next}`));
  else point = null;
  const why = await save({ type: "choose", point: key, say: button.dataset.say });
  const again = document.getElementById(`point-${key}`);
  if (why && again) {
    again.classList.remove("saving");
    again.querySelector("[aria-pressed]")?.removeAttribute("aria-pressed");
    onPoint(again);
  } else if (!why && !next) goPoint(1, null);
}
function opens(what, line, element) {
  if (what === "slots" && line) return putRight(line);
  if (what === "words" && line) return putWords(line);
  const at = element.dataset;
  const stretch = line?.dataset || at;
  const heard = line ? line.querySelector(".asks bdi").textContent.replace(/^[^“]*“|”[^”]*$/g, "") : "";
  return slip.add({ start_ms: Number(stretch.start || 0), end_ms: Number(stretch.end || 0), heard, closes: at.point, ...place(line) });
}

// ---------------------------------------------------------------- putting right

const place = (line) => ({ beside: line?.dataset.line || "", part: line?.closest("[data-part]")?.dataset.part || "", kind: kindOf(line) });
function kindOf(line) {
  const near = line?.closest("[data-part]")?.querySelector("[data-slots]");
  return slotsOf(line)?.kind || slotsOf(near)?.kind || "finding";
}
function putRight(line, field) {
  const slots = slotsOf(line);
  if (slots) slip.slots(line.dataset.line, slots, textOf(line), field);
}
async function putWords(line) {
  if (words.line !== line) {
    opening = true; // keys pressed meanwhile were meant for the slip
    await unfold(line);
    opening = false;
  }
  const stretch = words.stretch() || own(line);
  if (stretch) slip.words(stretch);
}
/** The line's own words as a stretch. */
function own(line) {
  const all = [...line.querySelectorAll(".own-word")];
  if (!all.length) return null;
  return { start_ms: Number(all[0].dataset.start), end_ms: Number(all.at(-1).dataset.end), heard: all.map((w) => w.textContent).join(" ") };
}
function addLine(line) {
  const stretch = words.stretch();
  if (stretch) return slip.add({ ...stretch, ...place(line) });
  const at = Number(line?.dataset.start || 0);
  return slip.add({ start_ms: at, end_ms: at, ...place(line) });
}
/** Show that a line is going to change before it is saved; nothing of it stays where it could not be. */
async function changing(line, how, change) {
  const { line: key } = line.dataset;
  line.classList.add("saving", how);
  const why = await save(change);
  if (why) lineOf(key)?.classList.remove("saving", how);
  return why;
}
function strike(line) {
  if (!slotsOf(line) || line.classList.contains("saving")) return;
  const all = lines();
  const at = all.indexOf(line);
  const struck = line.classList.contains("struck");
  const next = all[at + 1] || all[at - 1];
  changing(line, struck ? "coming" : "going", { type: struck ? "restore" : "strike", line: line.dataset.line });
  if (!struck && next) pick(next);
}
function side(line, value) {
  if (!slotsOf(line)) return;
  const state = document.createElement("span");
  state.className = "state";
  state.textContent = ` ${value === "none" ? "side not stated" : value} …`;
  line.querySelector(".text").append(state);
  changing(line, "changing", { type: "slots", line: line.dataset.line, slots: { side: value } }).then((why) => { if (why) state.remove(); });
}
function play(line) {
  const { start, end } = line.dataset;
  sound.play(Number(start), Number(end));
}
async function choose(line) {
  if (!line.contains(pointElement())) point = null;
  pick(line, { focus: false });
  play(line);
  await unfold(line);
}
/** The words of a line, and what it may mean otherwise: each by one key, after the answers of a point that is asked. */
async function unfold(line) {
  const at = pointElement();
  await Promise.all([words.unfold(line), offers.show(line, line.contains(at) ? at.querySelectorAll(".choice").length : 0)]);
}
function take(button) {
  const line = button.closest(".line");
  button.setAttribute("aria-pressed", "true");
  changing(line, "changing", offers.change(button)).then((why) => { if (why) button.removeAttribute("aria-pressed"); });
}

// ---------------------------------------------------------------- keys and touch

const doing = {
  "next-point": () => goPoint(1),
  "point-before": () => goPoint(-1),
  undo: () => desk.dataset.undo ? save({ type: "undo" }) : tell("There is nothing to undo.", 3),
  redo: () => desk.dataset.redo ? save({ type: "redo" }) : tell("There is nothing to do again.", 3),
  add: () => addLine(lineOf(current)),
  keys: () => keys.showModal(),
  "close-keys": () => keys.close(),
  play: () => sound.toggle(),
  back: () => sound.back(),
  slower: () => sound.speed(-1),
  faster: () => sound.speed(1),
  learn, forget: () => { document.getElementById("offer").hidden = true; },
  sign: () => { location.href = `/visits/${visit}/sign`; },
};
const byKey = {
  j: () => step(1), ArrowDown: () => step(1), k: () => step(-1), ArrowUp: () => step(-1),
  n: doing["next-point"], p: doing["point-before"], u: doing.undo, U: doing.redo, a: doing.add, "?": doing.keys,
  " ": doing.play, ",": doing.back, "[": doing.slower, "]": doing.faster, g: doing.sign,
};
const onLine = {
  Enter: choose, e: (line) => putRight(line), x: strike, w: putWords,
  l: (line) => side(line, "left"), r: (line) => side(line, "right"), b: (line) => side(line, "both"), o: (line) => side(line, "none"),
  d: (line) => slotsOf(line) && slip.notDone(line.dataset.line, slotsOf(line), textOf(line)),
};

const tools = new Tools(document.getElementById("tools"), (line, key) => { if (!line.contains(pointElement())) point = null; pick(line, { focus: false }); onLine[key](line); });

function pressed(event) {
  const target = event.target;
  if (opening || event.ctrlKey || event.metaKey || event.altKey || keys.open || target.closest("input, select, textarea, .slip, .away")) return;
  if (event.key.length === 1 && event.key !== " " && !single.checked) return;
  const word = target.closest(".word");
  if ((event.key === "ArrowRight" || event.key === "ArrowLeft") && words.line) {
    if (words.step(event.key === "ArrowRight" ? 1 : -1, event.shiftKey)) event.preventDefault();
    return;
  }
  if (event.key === "Enter" && word) { event.preventDefault(); words.playFrom(word); return; }
  if (target.closest("button, a, summary") && (event.key === "Enter" || event.key === " ")) return;
  if (event.key === "Escape") { words.fold(); offers.hide(); sound.element?.pause(); pick(lineOf(current)); return; }
  const at = pointElement();
  const line = lineOf(current);
  if (/^[1-9]$/.test(event.key)) {
    const button = at && !at.classList.contains("saving") && at.querySelectorAll(".choice")[Number(event.key) - 1];
    const offer = offers.button(line, event.key);
    if (button || offer) event.preventDefault();
    if (button) answer(at, button);
    else if (offer) take(offer);
    return;
  }
  if (event.key in byKey) { event.preventDefault(); byKey[event.key](); }
  else if (event.key in onLine && line) { event.preventDefault(); onLine[event.key](line); }
}
document.addEventListener("keydown", pressed);

document.addEventListener("click", (event) => {
  const target = event.target;
  const place = target.closest("[data-lines].place");
  if (place) { event.preventDefault(); choosePlace(place); return; }
  const go = target.closest("[data-go]");
  if (go) { event.preventDefault(); pick(lineOf(go.dataset.go)); return; }
  const word = target.closest(".word");
  if (word) { words.choose(word, event.shiftKey); if (!event.shiftKey) words.playFrom(word); return; }
  const button = target.closest("button, a.button");
  if (button && "offer" in button.dataset) { take(button); return; }
  if (button?.dataset.tool) { tools.use(button.dataset.tool); return; }
  const inPoint = target.closest(".point");
  if (button?.dataset.do && doing[button.dataset.do]) { if (button.dataset.do !== "sign") doing[button.dataset.do](); return; }
  if (inPoint && button?.matches(".choice")) { point = inPoint.dataset.point; answer(inPoint, button); return; }
  if (inPoint && button && "reopen" in button.dataset) { save({ type: "reopen", point: inPoint.dataset.point }); return; }
  if (inPoint && button && "play" in button.dataset) { sound.play(Number(inPoint.dataset.start), Number(inPoint.dataset.end)); return; }
  const line = target.closest(".line");
  if (line) { if (inPoint) point = inPoint.dataset.point; choose(line); }
});
document.addEventListener("focusin", (event) => {
  const line = event.target.closest(".line");
  if (line && line.dataset.line !== current) pick(line, { focus: false });
  const at = event.target.closest(".point");
  if (at) point = at.dataset.point;
});

/** A place of the infant: its lines are marked, the first one chosen. */
function choosePlace(place) {
  for (const line of document.querySelectorAll(".marked")) line.classList.remove("marked");
  const found = place.dataset.lines.split(" ").map((id) => document.getElementById(id)).filter(Boolean);
  for (const line of found) line.classList.add("marked");
  document.getElementById("place").textContent = `${place.getAttribute("aria-label")}, ${found.length === 1 ? "1 line" : `${found.length} lines`}`;
  if (found.length) pick(found[0]);
}

single.checked = localStorage.getItem("single-keys") !== "off";
single.addEventListener("change", () => localStorage.setItem("single-keys", single.checked ? "on" : "off"));
able();
const first = lines()[0];
if (first) pick(first, { focus: false });
desk.dataset.ready = "yes";

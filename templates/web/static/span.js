// A time plays its own stretch of the recording and stops at its end. Escape stops.
import { tell } from "./page.js";

const sound = new Audio();
let until = 0;

function stop() {
  sound.pause();
  for (const link of document.querySelectorAll(".time.playing")) link.classList.remove("playing");
}

async function play(link) {
  stop();
  const from = Number(link.dataset.start) / 1000;
  until = Number(link.dataset.end) / 1000;
  const source = `/visits/${link.dataset.visit}/sound`;
  link.classList.add("playing");
  try {
    if (sound.getAttribute("src") !== source) {
      sound.src = source;
      await new Promise((ready, failed) => {
        sound.onloadedmetadata = ready;
        sound.onerror = failed;
      });
    }
    sound.currentTime = from;
    await sound.play();
  } catch {
    stop();
    sound.removeAttribute("src");
    tell("There is no sound of this visit on record.", 6);
  }
}

sound.addEventListener("timeupdate", () => { if (sound.currentTime >= until) stop(); });
document.addEventListener("keydown", (event) => { if (event.key === "Escape") stop(); });
document.addEventListener("click", (event) => {
  const link = event.target.closest("a.time[data-visit]");
  if (!link || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  play(link);
});

// A time plays exactly its span; a place of the outline leads to its lines. Nothing else.
"use strict";
(() => {
  const sound = document.getElementById("sound");
  const heard = document.getElementById("heard");
  let stopAt = Infinity;
  let turn = 0;

  // Media Fragments URI 1.0 (W3C, 2012), sections 4.2.1 and 5.1: name=value pairs, percent-decoded, the last "t" counts;
  // "npt:" may lead; hh:mm:ss, mm:ss or seconds; a missing start is 0, a missing end is the end of the media.
  const CLOCK = /^(?:(?:(\d+):)?([0-5]?\d):([0-5]?\d(?:\.\d*)?)|(\d+(?:\.\d*)?))$/;
  function seconds(text) {
    const m = CLOCK.exec(text);
    if (!m) return NaN;
    return m[4] === undefined ? Number(m[1] || 0) * 3600 + Number(m[2]) * 60 + Number(m[3]) : Number(m[4]);
  }
  function span(hash) {
    let value = null;
    for (const pair of hash.replace(/^[^#]*#/, "").split("&")) {
      const at = pair.indexOf("=");
      try {
        if (at > 0 && decodeURIComponent(pair.slice(0, at)) === "t") value = decodeURIComponent(pair.slice(at + 1));
      } catch {
        continue;
      }
    }
    if (value === null) return null;
    const parts = value.replace(/^npt:/, "").split(",");
    if (parts.length > 2 || (parts.length === 2 && parts[1] === "") || parts.join("") === "") return null;
    const start = parts[0] === "" ? 0 : seconds(parts[0]);
    const end = parts.length === 1 ? Infinity : seconds(parts[1]);
    return start < end ? { start, end } : null;
  }

  function clear() {
    for (const line of document.querySelectorAll(".playing")) line.classList.remove("playing");
  }
  function watch(mine) {
    if (mine !== turn) return;
    if (sound.currentTime >= stopAt) {
      sound.pause();
      return;
    }
    if (!sound.paused) requestAnimationFrame(() => watch(mine));
  }
  async function play(part, link) {
    const mine = ++turn;
    clear();
    stopAt = part.end;
    sound.currentTime = part.start;
    const line = link && link.closest(".line, .flag");
    if (line) {
      line.classList.add("playing");
      const words = line.querySelector("details");
      if (words) words.open = true;
    }
    try {
      await sound.play();
    } catch {
      if (mine === turn) heard.textContent = "The sound could not be played here.";
      return;
    }
    if (mine !== turn) return;
    heard.textContent = link ? link.getAttribute("aria-label").replace("Play", "Playing") : "Playing";
    watch(mine);
  }

  if (sound) {
    sound.addEventListener("timeupdate", () => {
      if (!sound.paused && sound.currentTime >= stopAt) sound.pause();
    });
    sound.addEventListener("pause", () => {
      if (!sound.paused) return; // another span was chosen meanwhile
      stopAt = Infinity;
      clear();
      heard.textContent = "";
    });
    const byAddress = () => {
      const part = span(location.hash);
      if (part) play(part, document.querySelector(`a[href$="${CSS.escape(location.hash)}"]`));
    };
    addEventListener("hashchange", byAddress);
    byAddress();
  }

  function choose(place) {
    for (const line of document.querySelectorAll(".marked")) line.classList.remove("marked");
    const lines = place.dataset.lines.split(" ").map((id) => document.getElementById(id)).filter(Boolean);
    for (const line of lines) line.classList.add("marked");
    if (lines.length) {
      lines[0].scrollIntoView({ block: "center" });
      lines[0].focus({ preventScroll: true });
    }
    const many = lines.length === 1 ? "1 line" : `${lines.length} lines`;
    document.getElementById("place").textContent = `${place.getAttribute("aria-label")}, ${many}`;
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest("a");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    if (link.dataset.lines) {
      event.preventDefault();
      choose(link);
      return;
    }
    const part = sound && link.classList.contains("time") ? span(link.getAttribute("href")) : null;
    if (part) {
      event.preventDefault();
      play(part, link);
    }
  });
  document.addEventListener("keydown", (event) => {
    const target = event.target;
    if (event.key === "Escape" && sound) sound.pause();
    if (event.key === " " && target.matches && target.matches("a.time[href], a[data-lines]")) {
      event.preventDefault();
      target.dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true }));
    }
  });
})();

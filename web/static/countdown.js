// Counts down to a time of day, at the bench and in the first hour. Without it the page says that time, which stays
// true.
"use strict";
(() => {
  const due = new Set();
  let nowMs = 0, readAt = 0, readDate = 0;

  // A phone that slept has stopped one of its clocks, or somebody set the other: whichever went further counts.
  const now = () => nowMs + Math.max(performance.now() - readAt, Date.now() - readDate);
  const anchor = () => {
    const there = document.querySelector("main [data-now-ms]");
    if (!there || there.dataset.nowMs === String(nowMs)) return;
    nowMs = Number(there.dataset.nowMs); readAt = performance.now(); readDate = Date.now();
  };
  const tick = () => {
    anchor();
    for (const place of document.querySelectorAll("[data-count-to]")) {
      const to = Number(place.dataset.countTo), left = Math.max(0, Math.ceil((to - now()) / 1000));
      const minutes = Math.floor(left / 60);
      const text = minutes < 60
        ? `${minutes}:${String(left % 60).padStart(2, "0")}` : window.words.hoursMinutes(minutes / 60);
      if (place.textContent !== text) place.textContent = text;
      // The state is over: what comes next is the service's to say.
      if (left === 0 && !due.has(to)) { due.add(to); document.dispatchEvent(new CustomEvent("due")); }
    }
  };
  document.addEventListener("fresh", tick);
  setInterval(tick, 250);
  tick();
})();

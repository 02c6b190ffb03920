// On the page that stands in when the service cannot be reached: how long ago it last answered, and a try every 10 s.
"use strict";
(() => {
  const last = document.getElementById("last-contact");
  const span = (seconds) => {
    if (seconds < 90) return `${Math.max(0, Math.floor(seconds))} s`;
    const minutes = Math.round(seconds / 60);
    return minutes < 120 ? `${minutes} min` : `${Math.round(minutes / 60)} h`;
  };
  let heardMs = null;
  const tick = () => {
    last.textContent = heardMs === null ? "never on this device"
      : `${span((Date.now() - heardMs) / 1000)} ago, at `
        + new Date(heardMs).toLocaleTimeString([], { timeStyle: "short" });
  };
  const again = async () => {
    try {
      if ((await fetch("/api/health", { cache: "no-store", signal: AbortSignal.timeout(8000) })).ok) location.reload();
    } catch { /* still away */ }
  };
  caches.match("/last-contact").then((kept) => kept && kept.text()).then((kept) => {
    if (kept) heardMs = Number(kept);
    tick();
  });
  setInterval(tick, 1000);
  setInterval(again, 10000);
  document.getElementById("again").addEventListener("click", () => location.reload());
})();

// On the page that stands in when the service cannot be reached: how long ago it last answered, and a try every 10 s.
"use strict";
(() => {
  const last = document.getElementById("last-contact");
  const { say, span, time } = window.words;
  let heardMs = null;
  const tick = () => {
    last.textContent = heardMs === null ? say("never-here")
      : say("ago-at", { span: span((Date.now() - heardMs) / 1000), time: time(heardMs) });
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

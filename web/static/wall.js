// The wall view: fetched anew every few seconds, a mark that moves while that succeeds, and plain words over the whole
// screen when it does not; sound, a screen kept awake, full screen and a light look, each on request.
"use strict";
(() => {
  const EVERY_MS = 5000, STILL_MS = 12000, LOST_MS = 30000, SOUND_MS = 4000;
  const part = (name) => document.getElementById(`wall-${name}`);
  let lastGood = performance.now(), busy = false, beat = 0;

  const refresh = async () => {
    if (busy) return;
    busy = true;
    try {
      const answer = await fetch(location.href, {
        headers: { accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(10000),
      });
      // The link was ended, or whoever was signed in is no more: the page itself says so.
      if (answer.redirected || [401, 403, 404].includes(answer.status)) { location.reload(); return; }
      if (!answer.ok) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const come = fresh.getElementById("wall-live");
      if (!come) throw new Error("no wall");
      part("live").replaceWith(document.adoptNode(come));
      document.body.className = fresh.body.className;
      lastGood = performance.now();
    } catch { /* tick() says since when there is no contact */ } finally { busy = false; tick(); }
  };

  const tick = () => {
    const silentMs = performance.now() - lastGood, lost = silentMs >= LOST_MS, still = silentMs >= STILL_MS;
    part("life").dataset.beat = still ? "" : beat;
    const words = part("life-words"), said = words.dataset[still ? "still" : "live"];
    if (words.textContent !== said) words.textContent = said;
    if (lost && part("lost").hidden) part("lost-since").textContent = part("since").content.textContent.trim();
    part("lost").hidden = !lost;
    // What is said of lost contact may stand there for days: it moves as well.
    if (lost) document.body.className = `wall place-${Math.floor(Date.now() / 60000) % 9}`;
  };
  part("foot").hidden = false;
  setInterval(() => { beat = (beat + 1) % 4; tick(); }, 1000);
  setInterval(refresh, EVERY_MS);
  window.addEventListener("online", refresh);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  tick();

  const show = (button, on) => {
    button.setAttribute("aria-pressed", String(on));
    button.textContent = button.dataset[on ? "on" : "off"];
  };
  const pressed = (button) => button.getAttribute("aria-pressed") === "true";
  const note = (text) => { part("note").textContent = text; };

  // Sound: while an alarm of high priority has nobody on it.
  let tone = null;
  const beep = () => [0, 0.3].forEach((at, i) => {
    const sound = tone.createOscillator(), loud = tone.createGain(), from = tone.currentTime + at;
    sound.frequency.value = [740, 990][i];
    loud.gain.setValueAtTime(0.0001, from);
    loud.gain.exponentialRampToValueAtTime(0.5, from + 0.03);
    loud.gain.exponentialRampToValueAtTime(0.0001, from + 0.25);
    sound.connect(loud).connect(tone.destination);
    sound.start(from); sound.stop(from + 0.27);
    document.body.dataset.sounded = Number(document.body.dataset.sounded || 0) + 1;
  });
  part("sound").addEventListener("click", async () => {
    const on = !pressed(part("sound"));
    if (on) { tone ??= new AudioContext(); await tone.resume(); beep(); }
    show(part("sound"), on);
    note(on ? part("sound").dataset.heard : "");
  });
  setInterval(() => { if (pressed(part("sound")) && Number(part("live").dataset.loud)) beep(); }, SOUND_MS);

  // A screen kept awake: browsers let go of it when the page is not seen, and have to be asked again.
  let lock = null, wanted = false;
  const hold = async () => {
    if (!navigator.wakeLock) { wanted = false; note(part("awake").dataset.needs); return; }
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => { lock = null; show(part("awake"), false); });
      show(part("awake"), true);
    } catch { note(part("awake").dataset.needs); }
  };
  part("awake").addEventListener("click", () => {
    note("");
    wanted = !lock;
    if (wanted) hold(); else lock.release();
  });
  document.addEventListener("visibilitychange", () => { if (wanted && !lock && !document.hidden) hold(); });

  if (document.fullscreenEnabled) {
    part("full").addEventListener("click", () => {
      if (document.fullscreenElement) document.exitFullscreen(); else document.documentElement.requestFullscreen();
    });
    document.addEventListener("fullscreenchange", () => show(part("full"), Boolean(document.fullscreenElement)));
  } else part("full").hidden = true;

  // Light or dark: kept on this screen.
  const KEY = "pourlog-wall-look";
  const look = (light) => {
    document.documentElement.classList.toggle("wall-light", light);
    show(part("light"), light);
  };
  try { look(localStorage.getItem(KEY) === "light"); } catch { look(false); }
  part("light").addEventListener("click", () => {
    const light = !pressed(part("light"));
    look(light);
    try { localStorage.setItem(KEY, light ? "light" : "dark"); } catch { /* private windows keep nothing */ }
  });
})();

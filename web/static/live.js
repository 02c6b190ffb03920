// Keeps an open page up to date: news by server-sent events, a request every 15 s besides, and a plain message when
// contact is lost.
"use strict";
(() => {
  const SHORTEST_MS = 1500, LOOK_MS = 15000, LOST_MS = 20000;
  const body = document.body, contact = document.getElementById("contact");
  let serverMs = Number(body.dataset.nowMs), readAt = performance.now();
  let lastGood = performance.now(), lastTry = -Infinity, waiting = null, busy = false;

  const { say, span } = window.words;
  const nowMs = () => serverMs + (performance.now() - readAt);
  const store = {
    get: (box, key) => { try { return box.getItem(key); } catch { return null; } },
    set: (box, key, value) => { try { box.setItem(key, value); } catch { /* private windows keep nothing */ } },
  };

  const tick = () => {
    for (const time of document.querySelectorAll("time[data-ms]")) {
      const text = say("ago", { span: span((nowMs() - Number(time.dataset.ms)) / 1000) });
      if (time.textContent !== text) time.textContent = text;
    }
    const silentMs = performance.now() - lastGood;
    if (silentMs > LOST_MS) {
      const text = say("no-contact", { span: span(silentMs / 1000) });
      // The words are said once; afterwards only the time in them changes, which needs no announcement.
      contact.setAttribute("role", contact.hidden ? "alert" : "note");
      contact.textContent = text;
      contact.hidden = false;
    } else if (!contact.hidden) contact.hidden = true;
  };

  // What somebody has chosen or typed and not sent yet: control by control, with what it holds.
  const FIELDS = "input:not([type=hidden]), select, textarea", REACHED = `a, button, summary, ${FIELDS}`;
  const unsent = (part) => [...part.querySelectorAll(FIELDS)].filter((field) =>
    field.matches("select") ? [...field.options].some((option) => option.selected && !option.defaultSelected)
      && field.selectedIndex > 0 : field.value !== field.defaultValue || field.checked !== field.defaultChecked);
  // A question and its section below ask for the same name: what tells them apart is their id.
  const twin = (part, field) => [...part.querySelectorAll(FIELDS)].find((other) => other.id === field.id
    && other.name === field.name && other.type === field.type && (!field.matches("[type=radio], [type=checkbox]")
      || other.value === field.value));
  const carry = (fields, part) => {
    for (const field of fields) {
      const other = twin(part, field);
      if (field.matches("[type=radio], [type=checkbox]")) other.checked = field.checked;
      else if (field.type === "file") other.files = field.files;
      else other.value = field.value;
    }
  };

  const swap = (fresh) => {
    for (const there of document.querySelectorAll("[data-live]")) {
      const come = fresh.getElementById(there.id);
      if (!come || come.outerHTML === there.dataset.was || there.querySelector(".holding")) continue;
      const typed = unsent(there);
      // A list that is open under the finger would close; another question must not take the place of this one.
      if (there.querySelector("form[data-hold] :focus") || !typed.every((field) => twin(come, field))) continue;
      there.dataset.was = come.outerHTML;
      const focused = there.contains(document.activeElement) ? document.activeElement : null;
      const place = focused && [...there.querySelectorAll(REACHED)].indexOf(focused);
      const open = [...there.querySelectorAll("details")].map((item) => item.open);
      there.replaceChildren(...come.childNodes);
      carry(typed, there);
      if (come.dataset.look !== undefined) body.className = come.dataset.look;
      there.querySelectorAll("details").forEach((item, i) => { item.open = open[i] ?? item.open; });
      if (focused) [...there.querySelectorAll(REACHED)][place]?.focus({ preventScroll: true });
    }
    document.title = fresh.title;
  };

  const refresh = async () => {
    busy = true; lastTry = performance.now();
    try {
      const answer = await fetch(location.href, {
        headers: { accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(10000),
      });
      if (answer.redirected && new URL(answer.url).pathname !== location.pathname) { location.reload(); return; }
      if (!answer.ok) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      serverMs = Number(fresh.body.dataset.nowMs); readAt = lastGood = performance.now();
      swap(fresh); tick(); trouble();
      document.dispatchEvent(new CustomEvent("fresh"));
    } catch { tick(); } finally { busy = false; }
  };
  const soon = () => {
    if (waiting) return;
    const rest = Math.max(0, SHORTEST_MS - (performance.now() - lastTry));
    waiting = setTimeout(() => { waiting = null; busy ? soon() : refresh(); }, rest);
  };

  // Alarms: said once to a screen reader, sounded until somebody has them, opened by itself on a wall screen.
  let tone = null;
  const beep = () => {
    if (!tone) return;
    [0, 0.35, 0.7].forEach((at, i) => {
      const sound = tone.createOscillator(), loud = tone.createGain();
      sound.frequency.value = [660, 880, 660][i];
      loud.gain.setValueAtTime(0.0001, tone.currentTime + at);
      loud.gain.exponentialRampToValueAtTime(0.5, tone.currentTime + at + 0.03);
      loud.gain.exponentialRampToValueAtTime(0.0001, tone.currentTime + at + 0.3);
      sound.connect(loud).connect(tone.destination);
      sound.start(tone.currentTime + at); sound.stop(tone.currentTime + at + 0.32);
    });
  };
  const wantsSound = () => store.get(localStorage, "pourlog-sound") === "on";
  const unlock = () => {
    if (!wantsSound()) return;
    tone ??= new AudioContext();
    if (tone.state === "suspended") tone.resume();
  };
  document.addEventListener("pointerdown", unlock); document.addEventListener("keydown", unlock);
  const trouble = () => {
    const list = [...document.querySelectorAll("[data-alarm]")];
    const said = new Set((store.get(sessionStorage, "pourlog-said") || "").split(" "));
    const fresh = list.filter((item) => !said.has(item.dataset.alarm));
    if (!fresh.length) return;
    for (const item of fresh) said.add(item.dataset.alarm);
    store.set(sessionStorage, "pourlog-said", [...said].slice(-200).join(" "));
    const alarms = fresh.map((item) => item.dataset.say).join(". ");
    document.getElementById("announce").textContent = say("alarm", { alarms });
    const high = fresh.find((item) => item.dataset.priority === "high");
    const typing = document.activeElement && document.activeElement.matches("input, textarea, select");
    if (high && body.dataset.page === "board" && !typing && store.get(localStorage, "pourlog-open") !== "off")
      setTimeout(() => location.assign(high.querySelector("a").href), 1200);
  };
  const loud = () => document.querySelector('[data-alarm][data-priority="high"]')
    || (document.getElementById("press") && body.classList.contains("high"));
  setInterval(() => { if (wantsSound() && loud()) { unlock(); beep(); } }, 4000);

  // Settings of this device alone.
  for (const box of document.querySelectorAll("input[data-kept]")) {
    const off = box.dataset.default === "on" ? "off" : null;
    const choice = store.get(localStorage, box.dataset.kept);
    box.checked = off ? choice !== "off" : choice === "on";
    box.addEventListener("change", () => {
      store.set(localStorage, box.dataset.kept, box.checked ? "on" : "off");
      if (box.dataset.kept === "pourlog-sound" && box.checked) { unlock(); beep(); }
    });
  }
  // A form that takes a moment says so, and is sent once.
  for (const form of document.querySelectorAll("form[method=post]")) form.addEventListener("submit", (event) => {
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "1";
    if (form.dataset.wait) {
      const word = document.createElement("p");
      word.className = "wait"; word.setAttribute("role", "status"); word.textContent = form.dataset.wait;
      form.append(word);
    }
    setTimeout(() => { delete form.dataset.sent; }, 8000);
  });
  // What a link leads to may take a moment to be made as well.
  for (const link of document.querySelectorAll("a[data-wait]")) link.addEventListener("click", () => {
    const word = document.createElement("p");
    word.className = "wait"; word.setAttribute("role", "status"); word.textContent = link.dataset.wait;
    link.parentElement.after(word);
    setTimeout(() => word.remove(), 12000);
  });
  window.addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    document.querySelectorAll(".wait").forEach((word) => word.remove());
    soon();
  });

  if (document.querySelector("[data-live]")) {
    const source = new EventSource("/live");
    source.addEventListener("news", (event) => {
      const about = JSON.parse(event.data);
      document.dispatchEvent(new CustomEvent("news", { detail: about }));
      soon();
    });
    source.addEventListener("open", () => { lastGood = performance.now(); });
    setInterval(() => { if (performance.now() - lastTry > LOOK_MS) soon(); }, 1000);
    window.addEventListener("online", soon);
    document.addEventListener("due", soon);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) soon(); });
    setInterval(tick, 1000);
    for (const there of document.querySelectorAll("[data-live]")) there.dataset.was = "";
    setTimeout(trouble, 400);
  }
})();

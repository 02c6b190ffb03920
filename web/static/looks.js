// A look at the form that cannot be sent is kept on this phone, with its time, and sent once when there is contact.
"use strict";
(() => {
  const KEY = "pourlog-looks", AGAIN_MS = 10000, WAIT_MS = 8000;
  // The service's clock, as this page heard it: a phone's own may be wrong.
  const aheadMs = Number(document.body.dataset.nowMs) - Date.now();
  const { say, time } = window.words;
  let busy = false, memory = [];

  const kept = () => {
    try { return JSON.parse(localStorage.getItem(KEY)) || []; } catch { return memory; }
  };
  const keep = (looks) => {
    memory = looks;
    try { localStorage.setItem(KEY, JSON.stringify(looks)); } catch { /* private windows: until it is closed */ }
  };
  const change = (id, how) => keep(kept().flatMap((look) => (look.id === id ? how(look) : [look])));
  const hex = (byte) => byte.toString(16).padStart(2, "0");
  const newId = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), hex).join("");

  const box = () => {
    let there = document.getElementById("kept-looks");
    if (!there) {
      there = document.createElement("div");
      there.id = "kept-looks"; there.setAttribute("role", "status");
      document.querySelector("main h1")?.after(there);
    }
    return there;
  };
  const line = (look) => {
    const item = document.createElement("p");
    item.className = "state watch";
    item.textContent = say(look.refused ? "look-refused" : look.signIn ? "look-needs-sign-in" : "look-kept",
      { time: time(look.at), finding: look.words, reason: look.refused });
    if (look.refused) {
      const drop = document.createElement("button");
      drop.className = "plain"; drop.type = "button"; drop.textContent = say("look-read");
      drop.addEventListener("click", () => { change(look.id, () => []); show(); });
      item.append(" ", drop);
    }
    return item;
  };
  const show = () => {
    const looks = kept();
    if (looks.length || document.getElementById("kept-looks")) box().replaceChildren(...looks.map(line));
  };

  // Returns whether it was taken; what cannot be sent stays, what is refused for good says why.
  const send = async (look) => {
    let answer;
    try {
      answer = await fetch(`/api/pours/${look.pour}/looks`, {
        method: "POST", signal: AbortSignal.timeout(WAIT_MS),
        headers: { "Content-Type": "application/json", "Idempotency-Key": `"${look.id}"` },
        body: JSON.stringify({ finding: look.finding, text: look.text, made_ms: look.made }),
      });
    } catch { return false; }
    if (answer.ok) { change(look.id, () => []); return true; }
    if (answer.status === 401 || answer.status === 403) {
      change(look.id, (it) => [{ ...it, signIn: true }]);
    } else if (answer.status >= 400 && answer.status < 500 && ![408, 425, 429].includes(answer.status)) {
      const said = await answer.json().catch(() => ({}));
      if (said.error?.kind !== "being-done")
        change(look.id, (it) =>
          [{ ...it, refused: said.error?.message || say("service-answers", { status: answer.status }) }]);
    }
    return false;
  };
  const flush = async () => {
    if (busy) return;
    busy = true;
    let some = false;
    for (const look of kept().filter((it) => !it.refused)) some = (await send(look)) || some;
    busy = false;
    show();
    if (some && !kept().length && document.querySelector("form[data-look]")) location.reload();
  };

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-look]");
    if (!form) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const fields = new FormData(form, event.submitter), button = event.submitter;
    const look = {
      id: newId(), pour: Number(form.dataset.look), finding: fields.get("finding"), text: fields.get("text") || "",
      at: Date.now(), made: Math.round(Date.now() + aheadMs), words: (button?.textContent || "").trim().toLowerCase(),
    };
    keep([...kept(), look]);
    form.reset();
    if (button) { button.disabled = true; setTimeout(() => { button.disabled = false; }, 2000); }
    flush();
  }, true);
  window.addEventListener("online", flush);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  setInterval(() => { if (kept().some((look) => !look.refused)) flush(); }, AGAIN_MS);
  show();
  if (kept().length) flush();
})();

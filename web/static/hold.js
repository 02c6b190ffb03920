// A step that nothing takes by accident: held down with a finger; a key or a mouse goes on to a page that asks
// once more.
"use strict";
(() => {
  const HOLD_MS = 1500, SLACK_PX = 60;
  const words = window.words;
  let held = null, touched = false;

  const letGo = () => {
    if (!held) return;
    clearTimeout(held.timer);
    held.button.classList.remove("holding");
    held = null;
  };
  const say = (button, text) => {
    let word = button.parentElement.querySelector(".hint");
    if (!word) {
      word = document.createElement("p");
      word.className = "hint soft"; word.setAttribute("role", "status");
      button.after(word);
    }
    word.textContent = text;
  };
  const done = () => {
    const { button } = held, { form } = button;
    letGo();
    if (button.dataset.sent) return;
    if (form.dataset.post) {
      const confirm = document.createElement("input");
      Object.assign(confirm, { type: "hidden", name: "confirm", value: form.dataset.confirm });
      form.append(confirm);
      form.method = "post"; form.action = form.dataset.post;
    }
    if (!form.reportValidity()) return;
    button.dataset.sent = "1";
    if (navigator.vibrate) navigator.vibrate(60);
    say(button, words.say("being-done"));
    form.submit();
  };

  document.addEventListener("pointerdown", (event) => {
    letGo();
    const button = event.target.closest("button[data-hold]");
    touched = event.pointerType !== "mouse";
    if (!button || button.disabled || !event.isPrimary || event.button > 0) return;
    held = { button, x: event.clientX, y: event.clientY, timer: setTimeout(done, HOLD_MS) };
    button.classList.add("holding");
    if (touched) say(button, words.say("keep-holding"));
  });
  document.addEventListener("pointermove", (event) => {
    if (held && Math.hypot(event.clientX - held.x, event.clientY - held.y) > SLACK_PX) letGo();
  });
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => {
    if (held && touched) say(held.button, words.say("let-go-too-early"));
    letGo();
  });
  document.addEventListener("visibilitychange", letGo);
  window.addEventListener("blur", letGo);
  // A long press opens no menu, and a tap does nothing; a key's click has no finger before it (detail 0).
  document.addEventListener("contextmenu", (event) => {
    if (event.target.closest("button[data-hold]")) event.preventDefault();
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-hold]");
    if (button && (button.dataset.sent || (touched && event.detail > 0))) event.preventDefault();
  }, true);
  document.addEventListener("keydown", () => { touched = false; }, true);
  // Back to a page that was left: it may be pressed again, and the service says whether that is still so.
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) document.querySelectorAll("[data-sent]").forEach((item) => { delete item.dataset.sent; });
  });
})();

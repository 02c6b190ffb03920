// The first answer to what stands in the form of a new pour, as it is typed. Without it the button below asks.
"use strict";
(() => {
  const form = document.getElementById("describe"), place = document.getElementById("first-answer");
  if (!form || !place) return;
  place.hidden = false;
  const NAMES = ["title", "shape", "depth", "width", "length", "room", "earlier"];
  let waiting = 0, asked = 0, before = "";
  const ask = async () => {
    const said = new URLSearchParams([...new FormData(form)].filter(([name]) => NAMES.includes(name))).toString();
    if (said === before) return;
    before = said;
    const mine = ++asked;
    place.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(`${place.dataset.answer}?${said}`, { cache: "no-store" });
      if (mine !== asked) return;
      if (answer.ok) {
        const come = new DOMParser().parseFromString(await answer.text(), "text/html");
        place.replaceChildren(...come.body.childNodes);
      }
    } catch { /* out of reach: the button says so */ }
    if (mine === asked) place.removeAttribute("aria-busy");
  };
  const soon = () => { clearTimeout(waiting); waiting = setTimeout(ask, 700); };
  form.addEventListener("input", soon);
  if (form.elements.depth?.value) soon();
})();

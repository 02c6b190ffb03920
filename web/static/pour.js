// On a wide screen every panel of the pour stands open at once, and is no fold any more.
"use strict";
(() => {
  const wide = matchMedia("(min-width: 1000px)"), panels = [...document.querySelectorAll("details.panel")];
  const fit = () => {
    for (const panel of panels) {
      panel.dataset.was ??= panel.open ? "open" : "";
      panel.open = wide.matches || panel.dataset.was === "open";
      panel.querySelector("summary").tabIndex = wide.matches ? -1 : 0;
    }
  };
  wide.addEventListener("change", fit);
  fit();
})();

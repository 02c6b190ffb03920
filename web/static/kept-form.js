// What is typed in a form stands there again after a way round by another page: kept in this tab until it is sent.
"use strict";
(() => {
  const form = document.querySelector("form[data-keep]");
  if (!form) return;
  const key = `pourlog-form-${form.dataset.keep}`;
  const fields = () => [...form.elements].filter((field) => field.name && field.type !== "hidden");
  try {
    // What the server has filled in (a chosen resin, a refused form) counts more than what was kept.
    const kept = JSON.parse(sessionStorage.getItem(key) || "{}");
    for (const field of fields()) {
      const empty = field.tagName === "SELECT" ? !field.querySelector("option[selected]") : !field.value;
      if (empty && kept[field.name]) field.value = kept[field.name];
    }
    form.addEventListener("input", () => sessionStorage.setItem(
      key, JSON.stringify(Object.fromEntries(fields().map((field) => [field.name, field.value])))));
    form.addEventListener("submit", () => sessionStorage.removeItem(key));
  } catch { /* a private window keeps nothing */ }
})();

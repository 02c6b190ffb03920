// A plan's page: sections whose fields come once they are opened, and the drawing of an uneven outline. A tap adds a
// point to the lines of the field below, which is what is saved.
"use strict";
(() => {
  const outline = () => {
    const box = document.querySelector(".draw"), lines = box?.closest("form").querySelector("textarea");
    if (!lines) return;
    const svg = box.querySelector("svg"), across = Number(box.dataset.across), along = Number(box.dataset.along);
    // The long way lies along the screen, a narrow pour is drawn wider than it is; a margin takes an edge that bulges.
    const margin = 0.15 * across, high = across + 2 * margin, wide = along + 2 * margin;
    const points = () => lines.value.split("\n").map((line) => line.trim().split(/[\s;]+/).map(Number))
      .filter((pair) => pair.length === 2 && pair.every(Number.isFinite));
    const write = (all) => { lines.value = all.map(([x, y]) => `${x}  ${y}`).join("\n"); draw(); };
    const made = (name, given) => {
      const one = document.createElementNS("http://www.w3.org/2000/svg", name);
      for (const [key, value] of Object.entries(given)) one.setAttribute(key, value);
      return one;
    };
    const draw = () => {
      const all = points().map(([x, y]) => [y + margin, x + margin]);
      svg.replaceChildren(made("rect", { x: margin, y: margin, width: along, height: across, class: "frame" }));
      const corners = all.map((pair) => pair.join(",")).join(" ");
      if (all.length > 1) svg.append(made("polygon", { points: corners, class: "pour" }));
      for (const [x, y] of all) svg.append(made("path", { d: `M${x} ${y}h0`, class: "point" }));
    };
    svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    svg.setAttribute("preserveAspectRatio", "none");
    svg.style.aspectRatio = `${wide} / ${Math.max(high, 0.6 * wide)}`;
    svg.addEventListener("click", (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const digits = along > 100 ? 0 : 2;
      write([...points(), [Number((at.y - margin).toFixed(digits)), Number((at.x - margin).toFixed(digits))]]);
    });
    box.querySelector("button").addEventListener("click", () => write(points().slice(0, -1)));
    lines.addEventListener("input", draw);
    box.hidden = false;
    draw();
  };
  outline();
  document.addEventListener("toggle", async ({ target: section }) => {
    const { from } = section.dataset;
    if (!section.open || !from) return;
    delete section.dataset.from;
    try {
      const answer = await fetch(from, { headers: { accept: "text/html" }, cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      const come = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(section.id);
      section.querySelector(".fields").replaceWith(come.querySelector(".fields"));
      outline();
    } catch { section.dataset.from = from; }  // its link stands there still
  }, true);
})();

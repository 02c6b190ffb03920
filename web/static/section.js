// A cross-section of the pour in its temperatures, as the forecast sees it (else as planned), with the probes on it
// and a slider from the pour to the end. Beside what was solved stands what the probes have read.
"use strict";
(() => {
  const canvas = document.getElementById("cut"), slider = document.getElementById("cut-hour");
  const words = document.getElementById("cut-words"), { say, number, hoursMinutes } = window.words;
  if (!canvas) return;
  const fahrenheit = canvas.dataset.unit === "f", degree = fahrenheit ? "°F" : "°C";
  const shown = (celsius) => fahrenheit ? celsius * 1.8 + 32 : celsius;
  // A predicted temperature: above what the model knows there is no figure.
  const predicted = (celsius) =>
    celsius > cut.beyond_c ? say("over", { limit: number(shown(cut.beyond_c)) }) : number(shown(celsius));
  // Dark blue to pale yellow, lightness rising all the way: warmer is lighter in greyscale too.
  const RAMP = [
    [0, 22, 28, 66], [0.2, 58, 40, 118], [0.4, 138, 40, 112], [0.6, 205, 66, 71], [0.8, 245, 137, 44],
    [1, 255, 236, 150],
  ];
  const colour = (part) => {
    const p = Math.min(1, Math.max(0, part));
    let i = 1; while (RAMP[i][0] < p) i++;
    const [a, b] = [RAMP[i - 1], RAMP[i]], f = (p - a[0]) / (b[0] - a[0]);
    return `rgb(${[1, 2, 3].map((k) => Math.round(a[k] + f * (b[k] - a[k]))).join(",")})`;
  };
  //: A reading so far from what is drawn at its place refutes the picture, K.
  const REFUTED_K = 10;
  let cut = null, low = 0, high = 1, hour = 0, measured = null;

  // What a place has read at an hour; null where it has not, or where there is a gap.
  const read = (kind, h) => {
    if (!measured || measured.now_h == null || h > measured.now_h + 0.02) return null;
    const trace = [...measured.traces].sort((a, b) => a.place < b.place ? -1 : 1)
      .find((one) => one.place.split("-")[0] === kind);
    if (!trace || !trace.hours.length) return null;
    let a = 0, b = trace.hours.length - 1;
    while (a < b) { const m = (a + b) >> 1; if (trace.hours[m] < h) a = m + 1; else b = m; }
    if (a > 0 && h - trace.hours[a - 1] < trace.hours[a] - h) a -= 1;
    return Math.abs(trace.hours[a] - h) < 0.5 ? trace.celsius[a] : null;
  };

  const at = (h) => {
    let i = 0; while (i < cut.hours.length - 2 && cut.hours[i + 1] < h) i++;
    const f = Math.min(1, Math.max(0, (h - cut.hours[i]) / (cut.hours[i + 1] - cut.hours[i] || 1)));
    const mix = (a, b) => a == null ? b == null ? null : f > 0.5 ? b : null : b == null ? a : a + f * (b - a);
    return {
      cells: cut.cells[i].map((row, r) => row.map((value, c) => mix(value, cut.cells[i + 1][r][c]))),
      core: mix(cut.core_c[i], cut.core_c[i + 1]),
      hottest: mix(cut.hottest_c[i], cut.hottest_c[i + 1]),
    };
  };
  const draw = () => {
    if (!cut) return;
    const ratio = window.devicePixelRatio || 1, wide = canvas.clientWidth, x = cut.x_edges_mm, z = cut.z_edges_mm;
    const across = 2 * x.at(-1), deep = z.at(-1) - z[0], margin = 8, below = 44;
    // A river is wide and shallow: its depth is drawn larger, and the words say how much.
    const sideways = (wide - 2 * margin) / across, tall = Math.min(260, Math.max(130, deep * sideways));
    const stretch = tall / (deep * sideways);
    canvas.width = wide * ratio; canvas.height = (tall + 2 * margin + below) * ratio;
    canvas.style.height = `${tall + 2 * margin + below}px`;
    const pen = canvas.getContext("2d"); pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const ink = getComputedStyle(document.body).color;
    const now = at(hour), px = (mm) => wide / 2 + mm * sideways;
    const py = (mm) => margin + tall - (mm - z[0]) * sideways * stretch;
    // Between the centres of cells it is interpolated; nothing is drawn where no layer has been poured yet.
    const middles = (edges) => edges.slice(1).map((edge, i) => (edge + edges[i]) / 2);
    const midX = middles(x), midZ = middles(z);
    const place = (mids, mm) => {
      let i = 0; while (i < mids.length - 2 && mids[i + 1] < mm) i++;
      if (mids.length < 2) return [0, 0, 0];
      return [i, i + 1, Math.min(1, Math.max(0, (mm - mids[i]) / (mids[i + 1] - mids[i])))];
    };
    const step = 3, full = tall, half = x.at(-1) * sideways;
    const columns = Array.from({ length: Math.ceil(half / step) },
      (_, i) => place(midX, Math.min(x.at(-1), (i + 0.5) * step / sideways)));
    for (let up = 0; up < full; up += step) {
      const mm = z[0] + (up + step / 2) / (sideways * stretch), [r0, r1, fz] = place(midZ, mm);
      const row = Math.max(0, Math.min(z.length - 2, z.findIndex((edgeMm) => edgeMm > mm) - 1));
      columns.forEach(([c0, c1, fx], i) => {
        const near = now.cells[row][fx < 0.5 ? c0 : c1];
        if (near == null) return;
        const of = (r, c) => now.cells[r][c] ?? near;
        const along = (r) => (1 - fx) * of(r, c0) + fx * of(r, c1);
        const value = (1 - fz) * along(r0) + fz * along(r1);
        pen.fillStyle = colour((value / 10 - low) / (high - low));
        const top = margin + tall - up - step;
        pen.fillRect(wide / 2 + i * step, top, step + 0.5, step + 0.5);
        pen.fillRect(wide / 2 - (i + 1) * step, top, step + 0.5, step + 0.5);
      });
    }
    // Where the probes read something else than what is drawn, the picture is refuted: it fades, and the words say so.
    const column = now.cells.map((row) => row[0]);
    const rowAt = (mm) => Math.max(0, Math.min(column.length - 1, z.findIndex((edgeMm) => edgeMm > mm) - 1));
    // Before the last layer is poured, the surface is that of what is there.
    let uppermost = rowAt(cut.probes.surface[1]); while (uppermost > 0 && column[uppermost] == null) uppermost--;
    const reading = { core: now.core, surface: column[uppermost] / 10, underside: column[0] / 10 };
    const refuted = Object.keys(reading).some((place) => {
      const was = read(place, hour);
      return was != null && Math.abs(was - reading[place]) > REFUTED_K;
    });
    if (refuted) {
      pen.fillStyle = "rgba(128, 128, 128, .7)";
      pen.fillRect(margin, margin, wide - 2 * margin, tall);
    }
    // Where resin ends: an outline in white over black, to be seen on every colour.
    let edge = 0, bottom = null, top = null;
    cut.resin.forEach((row, r) => row.forEach((is, c) => {
      if (!is) return;
      edge = Math.max(edge, x[c + 1]); bottom ??= z[r]; top = z[r + 1];
    }));
    for (const [style, width] of [["#000", 4], ["#fff", 1.6]]) {
      pen.strokeStyle = style; pen.lineWidth = width;
      pen.strokeRect(px(-edge), py(top), px(edge) - px(-edge), py(bottom) - py(top));
    }
    pen.font = `700 14px ${getComputedStyle(document.body).fontFamily}`; pen.textBaseline = "middle";
    for (const [place, [mm, up]] of Object.entries(cut.probes)) {
      const cx = px(mm), cy = Math.min(margin + tall - 8, Math.max(margin + 8, py(up)));
      pen.beginPath(); pen.arc(cx, cy, 6, 0, 7);
      pen.fillStyle = "#fff"; pen.fill(); pen.lineWidth = 2.5; pen.strokeStyle = "#000"; pen.stroke();
      const was = read(place, hour);
      const value = was == null ? `${predicted(reading[place])}°`
        : wide < 480 ? `${number(shown(was), 1)}°` : say("read", { value: `${number(shown(was), 1)}°` });
      const text = `${say(place)} ${value}`;
      pen.lineWidth = 4; pen.strokeStyle = "#000"; pen.lineJoin = "round";
      // On a narrow screen there may be no room to the right of a probe.
      const fits = cx + 12 + pen.measureText(text).width < wide - 4, tx = fits ? cx + 12 : cx - 12;
      pen.textAlign = fits ? "left" : "right";
      pen.strokeText(text, tx, cy); pen.fillStyle = "#fff"; pen.fillText(text, tx, cy);
    }
    pen.textAlign = "left";
    // The scale: coldest to hottest of the whole run.
    const sy = margin + tall + 12, sw = Math.min(wide - 2 * margin, 420);
    for (let i = 0; i < sw; i++) { pen.fillStyle = colour(i / sw); pen.fillRect(margin + i, sy, 1.2, 12); }
    pen.fillStyle = ink; pen.textBaseline = "top"; pen.font = `600 13px ${getComputedStyle(document.body).fontFamily}`;
    [0, 0.5, 1].forEach((p) => {
      pen.textAlign = p === 0 ? "left" : p === 1 ? "right" : "center";
      pen.fillText(`${predicted(low + p * (high - low))} ${degree}`, margin + p * sw, sy + 15);
    });
    pen.textAlign = "left";
    const places = ["core", "surface", "underside"], forecastH = cut.forecast_at_h;
    const written = (celsius) => `${predicted(celsius)} ${degree}`;
    const reads = places.map((place) => [place, read(place, hour)]).filter(([, was]) => was != null)
      .map(([place, was]) => `${say(place)} ${number(shown(was), 1)} ${degree}`).join(", ");
    const text = [
      refuted && say("cut-refuted"),
      say(forecastH == null ? "cut-planned" : "cut-forecast", {
        span: hoursMinutes(hour), at: hoursMinutes(Math.floor(60 * (forecastH ?? 0)) / 60),
        ...Object.fromEntries(places.map((place) => [place, written(reading[place])])),
        hottest: written(now.hottest), limit: `${number(shown(cut.limit_c))} ${degree}`,
      }),
      reads && say("cut-read", { readings: reads }),
      stretch > 1.15 && say("cut-stretched", { times: number(stretch, 1) }),
    ].filter(Boolean).join(" ");
    words.textContent = text; slider.setAttribute("aria-valuetext", text);
    canvas.dataset.drawn = "1";
  };
  const begin = async () => {
    try {
      const answer = await fetch(`/pours/${canvas.dataset.pour}/section`);
      if (!answer.ok) throw new Error(String(answer.status));
      cut = await answer.json();
    } catch { words.textContent = say("cut-unfetched"); return; }
    const flat = cut.cells.flat(2).filter((value) => value != null).map((value) => value / 10);
    low = flat.reduce((a, b) => Math.min(a, b)); high = Math.max(flat.reduce((a, b) => Math.max(a, b)), low + 1);
    slider.max = cut.hours.at(-1);
    const peak = cut.hours[cut.hottest_c.indexOf(Math.max(...cut.hottest_c))];
    if (!canvas.dataset.drawn) hour = canvas.dataset.hour ? Number(canvas.dataset.hour) : peak;
    hour = Math.min(cut.hours.at(-1), hour); slider.value = hour;
    draw();
  };
  slider.addEventListener("input", () => { hour = Number(slider.value); draw(); });
  document.addEventListener("measured", (event) => { measured = event.detail; draw(); });
  document.addEventListener("news", (event) => {
    const { kind, pour } = event.detail;
    if (kind === "forecast" && pour === Number(canvas.dataset.pour)) begin();
  });
  new ResizeObserver(draw).observe(canvas.parentElement);
  begin();
})();

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
  // Up to the limit from dark blue to pale yellow, in even steps of lightness (Oklab, 0.30 to 0.955): warmer is lighter
  // in greyscale too. Red is above the limit alone, and hatched as well.
  const BELOW = [
    [33, 39, 92], [34, 65, 118], [29, 93, 141], [24, 124, 152], [54, 153, 158], [86, 182, 155], [141, 206, 143],
    [198, 225, 152], [249, 244, 173],
  ];
  const ABOVE = [[226, 53, 50], [171, 13, 25], [110, 0, 12]];
  //: The scale is the same in every picture of a resin: from here to so far above its limit, °C and K.
  const COLDEST_C = 10, BEYOND_K = 30;
  const mixed = (stops, p, dark) => {
    const at = Math.min(1, Math.max(0, p)) * (stops.length - 1), i = Math.min(stops.length - 2, Math.floor(at));
    const between = (k) => stops[i][k] + (at - i) * (stops[i + 1][k] - stops[i][k]);
    return `rgb(${[0, 1, 2].map((k) => Math.round(dark * between(k))).join(",")})`;
  };
  const colour = (celsius, hatch) => celsius <= cut.limit_c
    ? mixed(BELOW, (celsius - COLDEST_C) / (cut.limit_c - COLDEST_C), 1)
    : mixed(ABOVE, (celsius - cut.limit_c) / BEYOND_K, hatch ? 0.62 : 1);
  //: A reading so far from what is drawn at its place refutes the picture, K.
  const REFUTED_K = 10;
  let cut = null, hour = 0, measured = window.measured || null;

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
    if (!cut || !canvas.clientWidth || !canvas.clientHeight) return;
    const ratio = window.devicePixelRatio || 1, wide = canvas.clientWidth, x = cut.x_edges_mm, z = cut.z_edges_mm;
    const across = 2 * x.at(-1), deep = z.at(-1) - z[0], margin = 8, below = 46;
    // A river is wide and shallow: its depth is drawn larger, and the words say how much.
    const room = canvas.clientHeight - 2 * margin - below;
    const sideways = Math.min((wide - 2 * margin) / across, room / deep);
    const tall = Math.min(room, Math.max(0.75 * room, deep * sideways)), stretch = tall / (deep * sideways);
    canvas.width = wide * ratio; canvas.height = canvas.clientHeight * ratio;
    const pen = canvas.getContext("2d"); pen.setTransform(ratio, 0, 0, ratio, 0, 0);
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
    const step = 2, full = tall, half = x.at(-1) * sideways;
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
        pen.fillStyle = colour(value / 10, (i + up / step) % 5 === 0);
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
    // The hottest place in the resin: a cross; each probe: a ring. Names keep a line's height from each other.
    let hot = { value: -Infinity };
    now.cells.forEach((row, r) => row.forEach((value, c) => {
      if (value != null && cut.resin[r][c] && value > hot.value) hot = { value, mm: c ? midX[c] : 0, up: midZ[r] };
    }));
    const inside = (y) => Math.min(margin + tall - 8, Math.max(margin + 8, y));
    const spots = Object.entries(cut.probes).map(([place, [mm, up]]) => {
      const was = read(place, hour);
      const value = was == null ? `${predicted(reading[place])}°`
        : wide < 480 ? `${number(shown(was), 1)}°` : say("read", { value: `${number(shown(was), 1)}°` });
      return { x: px(mm), y: inside(py(up)), text: `${say(place)} ${value}` };
    });
    // Half a degree tells nothing: there the core is the hottest.
    const [coreMm, coreUp] = cut.probes.core;
    if (hot.value / 10 < now.core + 0.5) Object.assign(hot, { mm: coreMm, up: coreUp });
    // A probe that reads more than what is drawn is the hottest: nothing beside it says less.
    const warmest = Object.keys(cut.probes).map((place) => ({ place, was: read(place, hour) ?? -Infinity }))
      .reduce((a, b) => b.was > a.was ? b : a);
    const byProbe = warmest.was > now.hottest, hottestC = byProbe ? warmest.was : now.hottest;
    if (byProbe) Object.assign(hot, { mm: cut.probes[warmest.place][0], up: cut.probes[warmest.place][1] });
    const hottest = say("cut-hottest", {
      value: byProbe ? `${number(shown(hottestC), 1)}°` : `${predicted(hottestC)}°`,
    });
    canvas.dataset.hottest = hottest;
    if (Number.isFinite(hot.value)) spots.push({ x: px(hot.mm), y: inside(py(hot.up)), cross: true, text: hottest });
    spots.sort((a, b) => a.y - b.y || (a.cross ? -1 : 1));
    spots.forEach((spot, i) => { spot.line = i ? Math.max(spot.y, spots[i - 1].line + 18) : spot.y; });
    for (let i = spots.length - 1, most = margin + tall - 8; i >= 0; i--, most = spots[i + 1].line - 18)
      spots[i].line = Math.min(spots[i].line, most);
    pen.font = `600 14px ${getComputedStyle(document.body).fontFamily}`; pen.textBaseline = "middle";
    for (const { x: cx, y: cy, line, text, cross } of spots) {
      pen.beginPath();
      if (cross) for (const [dx, dy] of [[1, 1], [1, -1]]) {
        pen.moveTo(cx - 6 * dx, cy - 6 * dy); pen.lineTo(cx + 6 * dx, cy + 6 * dy);
      } else pen.arc(cx, cy, 6, 0, 7);
      if (cross) for (const [style, width] of [["#000", 5], ["#fff", 2]]) {
        pen.lineWidth = width; pen.strokeStyle = style; pen.stroke();
      } else { pen.fillStyle = "#fff"; pen.fill(); pen.lineWidth = 2.5; pen.strokeStyle = "#000"; pen.stroke(); }
      pen.lineWidth = 4; pen.strokeStyle = "#000"; pen.lineJoin = "round";
      // On a narrow screen there may be no room to the right of a probe.
      const fits = cx + 14 + pen.measureText(text).width < wide - 4, tx = fits ? cx + 14 : cx - 14;
      pen.textAlign = fits ? "left" : "right";
      pen.strokeText(text, tx, line); pen.fillStyle = "#fff"; pen.fillText(text, tx, line);
    }
    pen.textAlign = "left";
    scale(pen, wide, margin, margin + tall + 12, hottestC);
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
  // The scale under the picture, with the limit on it and how hot it is now.
  const scale = (pen, wide, left, top, hottest) => {
    const style = getComputedStyle(document.documentElement), ink = getComputedStyle(document.body).color;
    const red = (style.getPropertyValue("--limit") || style.getPropertyValue("--stop")).trim() || ink;
    const length = Math.min(wide - 2 * left, 520), last = cut.limit_c + BEYOND_K;
    const px = (celsius) => left + length * Math.min(1, Math.max(0, (celsius - COLDEST_C) / (last - COLDEST_C)));
    for (let i = 0; i < length; i++) for (let up = 0; up < 12; up += 2) {
      pen.fillStyle = colour(COLDEST_C + i / length * (last - COLDEST_C), (Math.floor(i / 2) + up / 2) % 5 === 0);
      pen.fillRect(left + i, top + up, 1.2, 2);
    }
    const at = px(cut.limit_c), now = px(hottest);
    canvas.dataset.scale = JSON.stringify({ left, length, top, limit: at });
    pen.fillStyle = red; pen.fillRect(at - 1.5, top - 4, 3, 20);
    pen.fillStyle = ink; pen.beginPath();
    pen.moveTo(now, top + 1); pen.lineTo(now - 5, top - 7); pen.lineTo(now + 5, top - 7); pen.fill();
    pen.textBaseline = "top"; pen.font = `400 13px ${getComputedStyle(document.body).fontFamily}`;
    const end = (celsius) => `${number(shown(celsius))} ${degree}`;
    const limit = say("limit", { limit: end(cut.limit_c) });
    pen.textAlign = "left"; pen.fillText(end(COLDEST_C), left, top + 18);
    pen.textAlign = "right"; pen.fillText(end(last), left + length, top + 18);
    pen.textAlign = "center"; pen.fillStyle = red;
    pen.font = `600 13px ${getComputedStyle(document.body).fontFamily}`; pen.fillText(limit, at, top + 18);
    pen.textAlign = "left";
  };
  const begin = async () => {
    try {
      const answer = await fetch(`/pours/${canvas.dataset.pour}/section`);
      if (!answer.ok) throw new Error(String(answer.status));
      cut = await answer.json();
    } catch { words.textContent = say("cut-unfetched"); return; }
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

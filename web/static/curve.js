// Draws measured against predicted: at most four lines with their names and present values at their ends, the limit,
// what happened as marks, and what the lines read under a finger or the arrow keys. Gaps stay gaps; lines differ by
// dash as well as by colour.
"use strict";
(() => {
  // The chart library looks for a map's style by this id, and where it finds none it writes one into the page, which
  // our policy refuses. We draw no maps: an empty element is all it asks for.
  const maps = document.createElement("meta");
  maps.id = "9f215cf04c5486422605d13261cb87401f4e7763b6296af81e98efbc0130da53";
  document.head.append(maps);
  const box = document.getElementById("curve"), data = document.getElementById("chart-data");
  if (!box || !data) return;
  const { say, number, hoursMinutes } = window.words;
  const field = box.parentElement, read = document.getElementById("curve-read");
  const part = (name) => field.appendChild(Object.assign(document.createElement("div"), { className: name }));
  const hand = part("curve-hand"), labels = part("curve-labels"), marks = part("curve-marks"), at = part("curve-at");
  labels.setAttribute("aria-hidden", "true");
  let about = JSON.parse(data.textContent), measured = { traces: [], now_h: about.now_h };
  let view = null, zoom = null, cursor = null, everything = false, told = "", waiting = null;

  const HOUR_MS = 3.6e6, MOST_LINES = 4, LABEL = 16, STRIP = 22, BEYOND_C = 150;
  //: A picture lower than this, px, has one line under it.
  const SMALL = 260;
  //: A reading this old is none of now, h: it is drawn, and its value is not written at the line's end.
  const OLD_H = 180 / 3600;
  const DASHES = { core: "solid", surface: "dash", underside: "dot", room: "dashdot" };
  const ORDER = Object.keys(DASHES);
  //: Pours beside each other: as many tones, and patterns after them.
  const TONES = ["core", "surface", "underside", "hand", "calm", "room"];
  const PATTERNS = ["solid", "8px,3px", "2px,3px", "10px,3px,2px,3px"];
  const FALLBACK = { limit: "stop", forecast: "core", planned: "ink" };
  const tone = (name) => {
    const style = getComputedStyle(document.documentElement);
    return (style.getPropertyValue(`--${name}`) || style.getPropertyValue(`--${FALLBACK[name]}`)).trim() || "#888";
  };
  const degree = () => about.fahrenheit ? "°F" : "°C";
  const shown = (celsius) => celsius == null ? null : about.fahrenheit ? celsius * 1.8 + 32 : celsius;
  const written = (celsius, digits = 1) => `${number(shown(celsius), digits)}\u00a0${degree()}`;
  // A predicted temperature: above what the model knows there is no figure.
  const predicted = (celsius) =>
    celsius > BEYOND_C ? say("over", { limit: written(BEYOND_C, 0) }) : written(celsius, 0);

  // The workshop's clock: a browser may stand in another zone. A moment comes as if it were UTC.
  const ahead = (ms) => {
    const offsets = about.clock, found = offsets.filter(([from]) => from <= ms).at(-1) || offsets[0];
    return found ? found[1] * 60000 : 0;
  };
  const local = (hour) => { const ms = about.poured_ms + hour * HOUR_MS; return ms + ahead(ms); };
  const hourOf = (localMs) => {
    const guess = localMs - ahead(localMs), ms = localMs - ahead(guess);
    return (ms - about.poured_ms) / HOUR_MS;
  };
  const language = document.documentElement.lang === "en" ? "en-GB" : document.documentElement.lang;
  const date = (ms, options) => new Date(ms).toLocaleString(language, { timeZone: "UTC", ...options });
  const clock = (ms) => date(ms, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const day = (ms) => date(ms, { weekday: "short", day: "numeric" });
  const moment = (hour) => {
    const ms = local(hour), now = local(measured.now_h ?? hour);
    return day(ms) === day(now) ? clock(ms) : `${day(ms)}, ${clock(ms)}`;
  };

  // Points come as steps from one to the next: hours and °C again.
  const unpack = (trace) => {
    let decisecond = 0, centi = 0;
    trace.hours = trace.steps_ds.map((step) => (decisecond += step) / 36000);
    trace.celsius = trace.steps_centi_c.map((step) => step == null ? null : (centi += step) / 100);
    const [kind, second] = trace.place.split("-");
    Object.assign(trace, { kind, name: second ? `${say(kind)} ${second}` : say(kind) });
  };
  // Returns what a line has at an hour, null in a gap.
  const value = (hours, celsius, hour) => {
    let a = 0, b = hours.length - 1;
    if (b < 0 || hour < hours[0] - OLD_H || hour > hours[b] + OLD_H) return null;
    while (b - a > 1) { const m = (a + b) >> 1; if (hours[m] <= hour) a = m; else b = m; }
    if (celsius[a] == null || celsius[b] == null) {
      const near = hour - hours[a] < hours[b] - hour ? a : b;
      return Math.abs(hours[near] - hour) <= OLD_H / 4 ? celsius[near] : null;
    }
    const f = Math.min(1, Math.max(0, (hour - hours[a]) / (hours[b] - hours[a] || 1)));
    return celsius[a] + f * (celsius[b] - celsius[a]);
  };

  // Every line there is, the most telling first: {name, key, tone, dash, width, hours, celsius, measured}.
  const lines = () => {
    if (about.pours) return about.pours.map((one, i) => ({
      ...one, key: `pour-${i}`, measured: true, tone: TONES[i % TONES.length], width: 2.5 - 0.2 * Math.floor(i / 6),
      dash: PATTERNS[Math.floor(i / TONES.length) % PATTERNS.length],
    }));
    const found = [], latest = (trace) => trace.celsius.findLast((c) => c != null) ?? -Infinity;
    const traces = measured.traces.filter((trace) => trace.kind in DASHES && trace.celsius.some((c) => c != null));
    for (const kind of ORDER) {
      const same = traces.filter((trace) => trace.kind === kind).sort((a, b) => latest(b) - latest(a));
      same.forEach((trace, i) => found.push({
        ...trace, key: trace.place, tone: kind, measured: true, width: (kind === "core" ? 3.5 : 2) * (i ? 0.7 : 1),
        dash: i ? `${12 / i}px,3px` : DASHES[kind], rank: (i ? 10 : 0) + ORDER.indexOf(kind),
      }));
    }
    const line = (key, name, hours, celsius, look) =>
      hours.length && celsius?.length && found.push({ key, name, hours, celsius, ...look });
    if (about.band) line("forecast", say("forecast"), about.band.hours, about.band.p50,
      { tone: "forecast", dash: "longdash", width: 2, rank: 0.5 });
    const plan = about.predicted;
    line("core-planned", say("core-planned"), plan.hours, plan.core_c,
      { tone: "planned", dash: "8px,5px", width: 2, rank: about.band ? 9 : 0.6 });
    // Before there are readings, the other places are drawn as the plan has them.
    if (!traces.length) for (const kind of ["surface", "underside"])
      line(`${kind}-planned`, say(`${kind}-planned`), plan.hours, plan[`${kind}_c`],
        { tone: kind, dash: DASHES[kind], width: 2, rank: ORDER.indexOf(kind) });
    return found.sort((a, b) => a.rank - b.rank);
  };

  const names = () => about.ranges.map((one) => one.name);
  const KEPT = `pourlog-range:${location.pathname}`;
  // The maker's own choice holds until the pour has come so far that another would be chosen by itself.
  const choice = () => {
    let kept = null;
    try { kept = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* private windows keep nothing */ }
    return kept && kept.instead === about.range && names().includes(kept.name) ? kept.name : about.range;
  };
  const choose = (name) => {
    try { sessionStorage.setItem(KEPT, JSON.stringify({ name, instead: about.range })); } catch { /* as above */ }
    zoom = null; draw();
  };
  const buttons = [...document.querySelectorAll(".curve-ranges [data-range]")];
  const more = document.querySelector(".curve-ranges [data-more]");
  const press = () => {
    for (const button of buttons) {
      button.hidden = !names().includes(button.dataset.range);
      button.setAttribute("aria-pressed", String(!zoom && button.dataset.range === choice()));
    }
    more.hidden = lines().length <= MOST_LINES;
    more.setAttribute("aria-pressed", String(everything));
  };
  for (const button of buttons) button.addEventListener("click", () => choose(button.dataset.range));
  more.addEventListener("click", () => { everything = !everything; draw(); });

  const measure = document.createElement("canvas").getContext("2d");
  const wide = (text) => {
    measure.font = `600 13px ${getComputedStyle(box).fontFamily}`;
    return measure.measureText(text).width;
  };
  // The name of a line, and its value where that is of now.
  const labelled = (line) => {
    const last = line.celsius.findLastIndex((c) => c != null), end = line.hours[last];
    const fresh = line.measured && (!about.live || measured.now_h - end < OLD_H);
    const text = fresh && about.live ? `${line.name} ${number(shown(line.celsius[last]), 1)}°` : line.name;
    return { ...line, last, end, text: text.length > 22 ? `${text.slice(0, 20).trimEnd()}…` : text };
  };
  // What is shown: hours from–until, room for the names beyond the lines' ends, edges in px, °C.
  const frame = (drawn, given) => {
    const width = given || box.clientWidth, height = box.clientHeight, narrow = width < 600;
    const range = about.ranges.find((one) => one.name === choice()) || about.ranges.at(-1);
    const [from, wanted] = zoom || [0, range.name === "since-pouring" && measured.now_h != null
      ? Math.max(range.until_h, measured.now_h) : range.until_h];
    const left = narrow ? 36 : 48, right = 8, inner = width - left - right;
    let until = wanted;
    for (const line of drawn) {
      const room = inner - wide(line.text) - 12;
      if (line.end > from && line.end <= wanted && room > 0)
        until = Math.max(until, from + Math.min((line.end - from) * inner / room, 1.6 * (wanted - from)));
    }
    const poured = about.poured_ms != null, ticks = poured ? clockTicks(from, until, inner, height < SMALL) : null;
    const days = ticks?.some((tick) => tick.text.includes("<br>"));
    const strip = about.marks.some((mark) => mark.at_h >= from && mark.at_h <= until) ? STRIP : 0;
    const top = !poured ? 10 : height < SMALL ? 20 : 26, bottom = 22 + (days ? 16 : 0) + strip;
    const low = [], high = [about.limit_c ?? -Infinity];
    for (const line of drawn) line.hours.forEach((hour, i) => {
      if (line.celsius[i] == null || hour < from || hour > until) return;
      low.push(line.celsius[i]); high.push(line.measured ? line.celsius[i] : Math.min(BEYOND_C, line.celsius[i]));
    });
    const ahead = about.band ?? about.planned_band;
    ahead?.hours.forEach((hour, i) => {
      if (hour < from || hour > until) return;
      low.push(ahead.p05[i]); high.push(Math.min(ahead.p95[i], 1.1 * (about.limit_c ?? BEYOND_C)));
    });
    const least = Math.min(...low, (about.limit_c ?? 60) - 20), most = Math.max(...high, least + 20);
    const air = most - least;
    return {
      width, height, narrow, left, right, top, bottom, strip, from, until, ticks, inner,
      tall: height - top - bottom, low: least - 0.06 * air, high: most + 0.14 * air,
    };
  };
  const px = (hour) => view.left + (hour - view.from) / (view.until - view.from) * view.inner;
  const py = (celsius) => view.top + (view.high - celsius) / (view.high - view.low) * view.tall;

  const STEPS_H = [1 / 12, 1 / 6, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 48, 96, 168, 336];
  const step = (from, until, inner, room) =>
    STEPS_H.find((hours) => hours / (until - from) * inner >= room) || STEPS_H.at(-1);
  const clockTicks = (from, until, inner, small) => {
    const every = step(from, until, inner, inner < 500 ? 62 : 90) * HOUR_MS, ticks = [];
    let before = null;
    for (let ms = Math.ceil(local(from) / every) * every; ticks.length < 60; ms += every) {
      const hour = hourOf(ms);
      if (hour > until) break;
      const name = day(ms), long = day(local(from)) !== day(local(until));
      // The day stands under its first time, and instead of it where there is no room or every tick is midnight.
      const first = long && name !== before, alone = every >= 24 * HOUR_MS || (small && first && before);
      const text = alone ? name : first && !small ? `${clock(ms)}<br>${name}` : clock(ms);
      if (hour >= from) { ticks.push({ hour, text }); before = name; }
    }
    return ticks;
  };
  const hourTicks = (from, until, inner) => {
    const every = step(from, until, inner, inner < 500 ? 58 : 90), ticks = [];
    for (let i = Math.max(0, Math.ceil(from / every - 1e-9)); i * every <= until; i++) {
      const hour = i * every;
      ticks.push({
        hour, text: hour % 1 ? say("minutes", { m: Math.round(60 * hour) }) : say("hours", { h: number(hour) }),
      });
    }
    return ticks;
  };

  // Whole degrees, at least a line and a half apart, and none so high that it meets the hours above.
  const degrees = () => {
    const low = shown(view.low), high = shown(view.high), pixel = (high - low) / view.tall;
    const every = [5, 10, 20, 25, 50, 100, 200].find((degree) => degree / pixel >= 28) || 500, ticks = [];
    for (let at = Math.ceil(low / every) * every; at < high - 10 * pixel; at += every) ticks.push(at);
    return ticks;
  };

  const traces = (drawn) => {
    const all = (list) => list.map(shown), out = [], band = about.band ?? about.planned_band;
    if (band?.hours.length) {
      const edge = { x: band.hours, mode: "lines", line: { width: 0 } };
      out.push({ ...edge, y: all(band.p05), name: "p05" });
      out.push({ ...edge, y: all(band.p95), fill: "tonexty", fillcolor: tone("band"), name: say("range") });
    }
    for (const line of [...drawn].reverse()) out.push({
      x: line.hours, y: all(line.celsius), mode: "lines", connectgaps: false, name: line.name,
      line: { color: tone(line.tone), width: line.width, dash: line.dash, shape: "linear" },
    });
    // An axis without a line is not drawn.
    out.push({ x: [view.from], y: [null], xaxis: "x2", name: "hours" });
    return out;
  };
  const layout = () => {
    const { from, until, ticks, inner } = view, hours = hourTicks(from, until, inner);
    const placed = (list) =>
      ({ tickmode: "array", tickvals: list.map((tick) => tick.hour), ticktext: list.map((tick) => tick.text) });
    const line = (place, color, width, dash) =>
      ({ type: "line", layer: "below", ...place, line: { color, width, dash } });
    const shapes = [], limit = shown(about.limit_c);
    if (limit != null)
      shapes.push(line({ xref: "paper", x0: 0, x1: 1, y0: limit, y1: limit, layer: "above" }, tone("limit"), 2.5));
    const now = measured.now_h;
    if (about.live && now > from && now < until)
      shapes.push(line({ yref: "paper", y0: 0, y1: 1, x0: now, x1: now }, tone("soft"), 1, "dot"));
    const axis = { range: [from, until], fixedrange: true, zeroline: false, showline: false };
    return {
      width: view.width, height: view.height, autosize: false, showlegend: false, shapes, hovermode: false,
      dragmode: false,
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
      font: { color: tone("soft"), size: 12, family: getComputedStyle(document.body).fontFamily },
      margin: { l: view.left, r: view.right, t: view.top, b: view.bottom, pad: 0 },
      xaxis: {
        ...axis, ...placed(ticks || hours), gridcolor: tone("line"), tickangle: 0,
        ticklabelshift: 0, ticks: "", ticklabelstandoff: view.strip,
      },
      xaxis2: {
        ...axis, ...placed(ticks ? hours : []), overlaying: "x", side: "top", showgrid: false, ticks: "inside",
        ticklen: 4, tickcolor: tone("soft"), tickangle: 0,
      },
      yaxis: {
        range: [shown(view.low), shown(view.high)], fixedrange: true, gridcolor: tone("line"), zeroline: false,
        tickmode: "array", tickvals: degrees(), ticktext: degrees().map((degree) => `${degree}°`), ticks: "",
      },
      separators: `${number(0.5, 1).charAt(1)} `,
    };
  };

  // Names at the ends of the lines: each moves up or down until it covers no other.
  // The line may rise or fall under its own name: clear of all of it there, above or else below.
  const beside = (line, x, hour) => {
    const from = Math.max(view.from + (x - view.left) / view.inner * (view.until - view.from), line.hours[0]);
    const levels = [...Array(9).keys()].map((i) => value(line.hours, line.celsius, from + (hour - from) * i / 8))
      .filter((celsius) => celsius != null).map(py);
    const above = Math.min(...levels) - LABEL - 4;
    return above >= view.top - 2 ? above : Math.max(...levels) + 4;
  };
  const name = (drawn) => {
    const placed = [], ends = [], bottom = view.top + view.tall, edge = view.width - view.right;
    const put = ({ text, color, x, y, kind }) => {
      const width = wide(text) + 4;
      const apart = (one, top) =>
        x + width <= one.x || x >= one.x + one.width || top + LABEL <= one.top || top >= one.top + LABEL;
      const free = (top) =>
        top >= view.top - 2 && top + LABEL <= bottom + 1 && placed.every((one) => apart(one, top));
      let top = y;
      for (let i = 0; i < 24 && !free(top); i++) top = y + (i % 2 ? -1 : 1) * Math.ceil((i + 1) / 2) * LABEL / 2;
      if (!free(top)) return;
      placed.push({ x, width, top });
      const label = document.createElement("span");
      Object.assign(label, { className: `curve-label ${kind}`, textContent: text });
      Object.assign(label.style, { left: `${x}px`, top: `${top}px`, color });
      labels.append(label);
    };
    labels.replaceChildren();
    if (about.limit_c != null) {
      const line = py(about.limit_c), above = line - LABEL - 2;
      // Above its line, or below it where the picture ends there: never through it.
      put({
        text: say("limit", { limit: written(about.limit_c, 0) }), color: tone("limit"), x: view.left + 4,
        y: above >= view.top - 2 ? above : line + 2, kind: "limit",
      });
    }
    const edges = [];
    for (const line of drawn) {
      const width = wide(line.text) + 4;
      // A line that goes on beyond what is shown has its name above it at the edge.
      const inside = line.end >= view.from && px(line.end) + 6 + width <= edge + 1;
      const hour = inside ? line.end : Math.min(view.until, line.end);
      const celsius = inside ? line.celsius[line.last] : value(line.hours, line.celsius, hour);
      if (celsius == null || line.end < view.from || line.hours[0] > view.until) continue;
      const y = Math.min(Math.max(py(celsius), view.top), bottom);
      const text = inside || !line.measured ? line.text : line.name;
      const x = inside ? px(line.end) + 6 : edge - wide(text) - 4;
      (inside ? ends : edges).push({
        text, color: tone(line.tone), kind: line.key, x, y: inside ? y - LABEL / 2 : beside(line, x, hour),
      });
    }
    // Lines that end together keep their order: the hotter above.
    ends.sort((a, b) => a.y - b.y);
    for (let round = 0; round < 60; round++) ends.slice(1).forEach((below, i) => {
      const short = LABEL - (below.y - ends[i].y);
      if (short > 0) { ends[i].y -= short / 2; below.y += short / 2; }
    });
    const over = Math.max(0, (ends.at(-1)?.y ?? 0) + LABEL - bottom);
    for (const end of ends) put({ ...end, y: Math.round(end.y - over) });
    for (const one of edges) put(one);
  };

  // What happened, under the curves: marks that would touch are one, and say everything.
  const shape = { high: "stop", medium: "watch", low: "watch", deed: "quiet" };
  const happened = () => {
    const apart = matchMedia("(pointer: coarse)").matches ? 48 : 40, groups = [];
    for (const mark of about.marks) {
      if (mark.at_h < view.from - 0.02 || mark.at_h > view.until) continue;
      const x = px(Math.max(view.from, mark.at_h)), last = groups.at(-1);
      if (last && x - last.x < apart) last.marks.push(mark); else groups.push({ x, marks: [mark] });
    }
    const key = JSON.stringify([view.height, view.bottom, groups]);
    if (key === told) return;
    told = key;
    const focused = [...marks.children].indexOf(document.activeElement);
    const RANKS = Object.keys(shape);
    marks.replaceChildren(...groups.map((group) => {
      const button = document.createElement("button");
      const rank = RANKS.find((one) => group.marks.some((mark) => mark.rank === one));
      const text = group.marks.map((mark) => say("chart-mark", { clock: moment(mark.at_h), text: mark.text }));
      button.type = "button"; button.className = `curve-mark ${rank}`;
      button.setAttribute("aria-label", `${text.slice(0, 5).join(" ")}${text.length > 5 ? " …" : ""}`);
      button.style.left = `${group.x}px`; button.style.top = `${view.top + view.tall + view.strip / 2}px`;
      button.innerHTML = `<svg class="sign" aria-hidden="true"><use href="#sign-${shape[rank]}"></use></svg>`;
      if (group.marks.length > 1)
        button.append(Object.assign(document.createElement("small"), { textContent: String(group.marks.length) }));
      const show = () => {
        point(null, group.x);
        read.replaceChildren(...group.marks.flatMap((mark, i) => {
          const line = document.createElement(mark.href ? "a" : "span");
          if (mark.href) line.href = mark.href;
          line.textContent = say("chart-mark", { clock: moment(mark.at_h), text: mark.text });
          return i ? [document.createElement("br"), line] : [line];
        }));
      };
      button.addEventListener("click", show); button.addEventListener("focus", show);
      return button;
    }));
    if (focused >= 0) marks.children[focused]?.focus({ preventScroll: true });
  };

  // What the lines have at an hour, as a sentence.
  const reading = (hour) => {
    const parts = [];
    for (const line of lines().filter((one) => one.measured)) {
      const celsius = value(line.hours, line.celsius, hour);
      if (celsius != null) parts.push(`${line.name} ${written(celsius)}`);
    }
    if (!parts.length && measured.traces.length && hour <= (measured.now_h ?? 0)) parts.push(say("chart-no-reading"));
    const band = about.band, of = (name) => value(band.hours, band[name], hour);
    if (band?.hours.length && of("p50") != null)
      parts.push(say("chart-forecast",
        { value: predicted(of("p50")), low: predicted(of("p05")), high: predicted(of("p95")) }));
    else for (const line of lines().filter((one) => !one.measured && one.key.endsWith("-planned"))) {
      const celsius = value(line.hours, line.celsius, hour);
      const range = line.key === "core-planned" ? about.planned_band : null;
      const edge = (name) => predicted(value(range.hours, range[name], hour));
      if (celsius != null) parts.push(range && hour <= range.hours.at(-1)
        ? say("chart-planned", { line: line.name, value: predicted(celsius), low: edge("p05"), high: edge("p95") })
        : `${line.name} ${predicted(celsius)}`);
    }
    const span = hoursMinutes(hour), values = parts.join(", ");
    return about.poured_ms == null ? say("chart-read-planned", { span, values })
      : say("chart-read", { clock: moment(hour), span, values });
  };
  const hint = () => say(matchMedia("(pointer: coarse)").matches ? "chart-hint-touch" : "chart-hint");
  const point = (hour, x = null) => {
    cursor = hour;
    const place = hour == null ? x : px(hour);
    at.hidden = place == null;
    if (place == null) { read.textContent = hint(); hand.removeAttribute("aria-valuetext"); return; }
    Object.assign(at.style, { left: `${place}px`, top: `${view.top}px`, height: `${view.tall + view.strip}px` });
    if (hour == null) return;
    const text = reading(hour);
    if (read.textContent !== text) read.textContent = text;
    hand.setAttribute("aria-valuenow", String(Math.round(60 * hour)));
    hand.setAttribute("aria-valuetext", about.poured_ms == null ? hoursMinutes(hour) : moment(hour));
  };

  // The hand over the picture: the arrow keys, a finger, a mouse; drawing the mouse across shows those hours alone.
  hand.tabIndex = 0;
  hand.setAttribute("role", "slider");
  hand.setAttribute("aria-label", say("chart-cursor"));
  hand.setAttribute("aria-describedby", "curve-read");
  const hourAt = (event) => {
    const x = event.clientX - field.getBoundingClientRect().left - view.left;
    return view.from + Math.min(1, Math.max(0, x / view.inner)) * (view.until - view.from);
  };
  const start = () => Math.min(view.until, Math.max(view.from, measured.now_h ?? view.from));
  hand.addEventListener("keydown", (event) => {
    const fine = Math.max(1 / 60, Math.round((view.until - view.from) / 2) / 60);
    const moves = {
      ArrowLeft: -fine, ArrowRight: fine, ArrowDown: -fine, ArrowUp: fine, PageDown: -10 * fine, PageUp: 10 * fine,
    };
    if (event.key === "Escape") { point(null); return; }
    let hour = event.key === "Home" ? view.from : event.key === "End" ? view.until : null;
    if (event.key in moves) hour = cursor == null ? start() : cursor + moves[event.key];
    if (hour == null) return;
    event.preventDefault();
    point(Math.min(view.until, Math.max(view.from, hour)));
  });
  let from = null;
  hand.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse" && event.button) return;
    from = event.pointerType === "mouse" ? hourAt(event) : null;
    point(hourAt(event));
  });
  hand.addEventListener("pointermove", (event) => {
    if (event.pointerType !== "mouse" && !event.pressure) return;
    point(hourAt(event));
    at.style.width = from == null || !event.buttons ? "" : `${Math.abs(px(cursor) - px(from))}px`;
    if (at.style.width) at.style.left = `${Math.min(px(cursor), px(from))}px`;
  });
  hand.addEventListener("pointerup", (event) => {
    at.style.width = "";
    const to = hourAt(event), drawn = from != null && Math.abs(px(to) - px(from)) > 24;
    if (drawn) { zoom = [Math.min(from, to), Math.max(from, to)]; draw(); }
    from = null;
  });
  hand.addEventListener("pointerleave", (event) => {
    at.style.width = ""; from = null;
    if (event.pointerType === "mouse" && document.activeElement !== hand) point(null);
  });
  hand.addEventListener("dblclick", () => { zoom = null; draw(); });

  const draw = (given) => {
    if (!window.Plotly || !box.clientWidth) return;
    const drawn = lines().slice(0, everything ? 99 : MOST_LINES).map(labelled);
    view = frame(drawn, typeof given === "number" ? given : 0);
    Plotly.react(box, traces(drawn), layout(), { staticPlot: true, displayModeBar: false, responsive: false });
    Object.assign(hand.style, {
      left: `${view.left}px`, top: `${view.top}px`, width: `${view.inner}px`, height: `${view.tall}px`,
    });
    hand.setAttribute("aria-valuemin", String(Math.floor(60 * view.from)));
    hand.setAttribute("aria-valuemax", String(Math.ceil(60 * view.until)));
    if (!hand.hasAttribute("aria-valuenow")) hand.setAttribute("aria-valuenow", String(Math.round(60 * start())));
    name(drawn); happened(); press();
    if (cursor != null) point(Math.min(view.until, Math.max(view.from, cursor)));
    const core = measured.traces.filter((trace) => trace.kind === "core").flatMap((trace) => trace.celsius)
      .filter((celsius) => celsius != null);
    const limit = about.limit_c == null ? "–" : written(about.limit_c, 0);
    if (about.pour != null) box.setAttribute("aria-label", core.length
      ? say("chart-hottest", { limit, hottest: written(Math.max(...core)) }) : say("chart-unread", { limit }));
    box.dataset.range = zoom ? "" : choice();
    box.dataset.lines = drawn.map((line) => line.key).join(" ");
    box.dataset.measured = String(measured.traces.length);
    if (!box.dataset.drawn) performance.mark("curve-drawn");
    box.dataset.drawn = String(Number(box.dataset.drawn || 0) + 1);
  };

  let latest = 0, again = false, busy = false;
  const fetchCurve = async () => {
    if (busy) { again = true; return; }
    busy = true; latest = performance.now();
    try {
      const width = Math.max(50, Math.min(4000, Math.round(box.clientWidth)));
      const answer = await fetch(`/api/pours/${about.pour}/curve?width=${width}`, { cache: "no-store" });
      if (answer.ok) {
        const come = await answer.json();
        come.traces.forEach(unpack);
        // Kept as well as told: the cross-section's script may come later than the readings.
        window.measured = measured = come;
        draw();
        document.dispatchEvent(new CustomEvent("measured", { detail: measured }));
      }
    } catch { /* live.js says that contact is lost; the chart keeps what it has */ }
    busy = false;
    if (again) { again = false; setTimeout(fetchCurve, 3000); }
  };
  document.addEventListener("news", (event) => {
    if (event.detail.pour !== about.pour || waiting) return;
    waiting = setTimeout(() => { waiting = null; fetchCurve(); }, Math.max(0, 4000 - (performance.now() - latest)));
  });
  // The page has been fetched anew: the forecast, the marks and the hours to choose from with it.
  let was = data.textContent;
  document.addEventListener("fresh", () => {
    if (data.textContent === was) return;
    was = data.textContent; about = JSON.parse(was); draw();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  let size = "";
  new ResizeObserver(() => {
    const now = `${box.clientWidth} ${box.clientHeight}`;
    if (now !== size && size) draw();
    size = now;
  }).observe(box);
  window.addEventListener("beforeprint", () => draw(Math.min(660, box.clientWidth)));
  window.addEventListener("afterprint", () => draw());
  at.hidden = true;
  read.textContent = hint();
  press();
  const first = about.pour == null ? null : fetchCurve();
  // The library comes after this script; where the readings are nearly there, the first picture has them.
  document.addEventListener("DOMContentLoaded", async () => {
    await Promise.race([first, new Promise((done) => { setTimeout(done, 250); })]);
    if (!box.dataset.drawn) draw();
  });
})();

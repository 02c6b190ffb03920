// Draws measured against predicted. Gaps stay gaps; every line differs by dash as well as by colour.
"use strict";
(() => {
  const box = document.getElementById("curve"), data = document.getElementById("chart-data");
  if (!box || !data || !window.Plotly) return;
  const about = JSON.parse(data.textContent), { say, number } = window.words;
  const degree = about.fahrenheit ? "°F" : "°C";
  const shown = (celsius) => celsius == null ? null : about.fahrenheit ? celsius * 1.8 + 32 : celsius;
  const all = (list) => list.map(shown);
  const LINES = {
    core: { dash: "solid", width: 3.5 }, surface: { dash: "dash", width: 2 },
    underside: { dash: "dot", width: 2 }, room: { dash: "dashdot", width: 1.5 },
  };
  const ORDER = Object.keys(LINES);
  let measured = { traces: [], now_h: null }, latest = 0, again = false, busy = false;

  // Points come as steps from one to the next: hours and °C again.
  const unpack = (trace) => {
    let decisecond = 0, centi = 0;
    trace.hours = trace.steps_ds.map((step) => (decisecond += step) / 36000);
    trace.celsius = trace.steps_centi_c.map((step) => step == null ? null : (centi += step) / 100);
  };
  const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const traces = () => {
    const drawn = [];
    const band = about.band;
    if (band && band.hours.length) {
      const edge = { x: band.hours, mode: "lines", line: { width: 0 }, hoverinfo: "skip" };
      drawn.push({ ...edge, y: all(band.p05), showlegend: false });
      drawn.push({
        ...edge, y: all(band.p95), fill: "tonexty", fillcolor: ink("--band"), name: say("range"),
      });
      drawn.push({
        x: band.hours, y: all(band.p50), mode: "lines", name: say("forecast"),
        line: { color: ink("--core"), width: 2, dash: "longdash" },
      });
    }
    if (about.predicted.hours.length)
      drawn.push({
        x: about.predicted.hours, y: all(about.predicted.core_c), mode: "lines", name: say("core-planned"),
        line: { color: ink("--planned"), width: 2, dash: "8px,5px" },
      });
    // A plan page has no readings yet: there the other places are drawn as predicted.
    const others = measured.traces.length ? [] : ["surface", "underside"];
    for (const kind of others) {
      const predicted = about.predicted[`${kind}_c`] || [];
      if (!predicted.length) continue;
      drawn.push({
        x: about.predicted.hours, y: all(predicted), mode: "lines", name: say(`${kind}-planned`),
        line: { color: ink(`--${kind}`), width: 2, dash: LINES[kind].dash },
      });
    }
    const rank = (trace) => ORDER.indexOf(trace.place.split("-")[0]);
    const sorted = [...measured.traces].sort((a, b) => rank(a) - rank(b));
    for (const trace of sorted) {
      const [kind, second] = trace.place.split("-"), line = LINES[kind], number = Number(second) || 0;
      if (!line) continue;
      drawn.push({
        x: trace.hours, y: all(trace.celsius), mode: "lines", connectgaps: false,
        name: second ? `${say(kind)} ${second}` : say(kind),
        line: {
          color: ink(`--${kind}`), width: line.width * (number ? 0.8 : 1),
          dash: number ? `${12 / number}px,3px` : line.dash, shape: "linear",
        },
        hovertemplate: `%{y:.1f} ${degree}`,
      });
    }
    return drawn;
  };
  const layout = () => {
    const narrow = box.clientWidth < 600, limit = shown(about.limit_c), last = about.predicted.hours.at(-1) || 72;
    const size = narrow ? 13 : 15;
    const shapes = [{
      type: "line", xref: "paper", x0: 0, x1: 1, y0: limit, y1: limit, line: { color: ink("--stop"), width: 3 },
    }];
    if (measured.now_h != null && measured.now_h < last * 1.3 && measured.live)
      shapes.push({
        type: "line", yref: "paper", y0: 0, y1: 1, x0: measured.now_h, x1: measured.now_h,
        line: { color: ink("--soft"), width: 1.5, dash: "dot" },
      });
    const until = measured.now_h && measured.live ? measured.now_h + 1 : 0;
    // A core already hotter than the plan's peak has left it: then the readings fill the chart, not the plan.
    const core = measured.traces.filter((trace) => trace.place.startsWith("core")).flatMap((trace) => trace.celsius);
    const left = measured.live && !about.band && core.some((c) => c > Math.max(...about.predicted.core_c));
    const end = left ? Math.max(2, 3 * measured.now_h) : Math.max(last, until);
    return {
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
      font: { color: ink("--ink"), size, family: getComputedStyle(document.body).fontFamily },
      margin: { l: narrow ? 40 : 58, r: 12, t: 12, b: narrow ? 110 : 96 },
      hovermode: "x unified", dragmode: narrow ? false : "zoom", shapes,
      xaxis: {
        title: { text: say("hours-since-pouring"), standoff: 6 },
        gridcolor: ink("--line"), zerolinecolor: ink("--line"),
        range: [-0.01 * Math.max(end, 1), end],
      },
      yaxis: {
        title: narrow ? undefined : { text: degree }, gridcolor: ink("--line"), zeroline: false,
        ticksuffix: narrow ? "°" : "", rangemode: "normal",
      },
      legend: { orientation: "h", traceorder: "normal", x: 0, y: -0.22, yanchor: "top", itemwidth: 40 },
      hoverlabel: { bgcolor: ink("--card"), font: { color: ink("--ink") } },
      annotations: [{
        xref: "paper", x: 1, y: limit, xanchor: "right", yanchor: "bottom", showarrow: false,
        text: say("limit", { limit: `${number(limit)} ${degree}` }), font: { color: ink("--stop"), size },
      }],
      // The decimal sign and the one between thousands.
      separators: `${number(0.5, 1).charAt(1)}${number(0.5, 1).charAt(1) === "," ? "." : ","}`,
      uirevision: "kept",
    };
  };
  const draw = () => {
    const options = { displayModeBar: false, responsive: true, displaylogo: false, doubleClick: "reset" };
    Plotly.react(box, traces(), layout(), options);
    const core = measured.traces.filter((trace) => trace.place.startsWith("core"))
      .flatMap((trace) => trace.celsius.filter((c) => c != null));
    const limit = `${number(shown(about.limit_c))} ${degree}`;
    box.setAttribute("aria-label", core.length
      ? say("chart-hottest", { limit, hottest: `${number(shown(Math.max(...core)), 1)} ${degree}` })
      : say("chart-unread", { limit }));
    box.dataset.drawn = String(Number(box.dataset.drawn || 0) + 1);
  };
  const fetchCurve = async () => {
    if (busy) { again = true; return; }
    busy = true; latest = performance.now();
    try {
      const width = Math.max(50, Math.min(4000, Math.round(box.clientWidth)));
      const answer = await fetch(`/api/pours/${about.pour}/curve?width=${width}`, { cache: "no-store" });
      if (answer.ok) {
        measured = await answer.json();
        measured.traces.forEach(unpack);
        measured.live = ["pouring", "watched", "curing"].includes(measured.stage);
        draw();
        document.dispatchEvent(new CustomEvent("measured", { detail: measured }));
      }
    } catch { /* live.js says that contact is lost; the chart keeps what it has */ }
    busy = false;
    if (again) { again = false; setTimeout(fetchCurve, 3000); }
  };
  let waiting = null;
  document.addEventListener("news", (event) => {
    if (event.detail.pour !== about.pour || waiting) return;
    waiting = setTimeout(() => { waiting = null; fetchCurve(); }, Math.max(0, 4000 - (performance.now() - latest)));
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  draw(); fetchCurve();
})();

// The texts that the scripts show, in the reader's language: they come with the page. Numbers are written as that
// language writes them.
"use strict";
(() => {
  const texts = JSON.parse(document.getElementById("words").textContent);
  const language = document.documentElement.lang;
  // Returns a text with its places filled in.
  const say = (name, values = {}) =>
    texts[name].replace(/\{(\w+)\}/g, (place, key) => key in values ? String(values[key]) : place);
  const number = (value, digits = 0) => value.toLocaleString(language, {
    minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false,
  });
  const two = (value) => String(value).padStart(2, "0");
  const hoursMinutes = (hours) => {
    const minutes = Math.round(hours * 60);
    return say("hours-minutes", { h: Math.floor(minutes / 60), m: two(minutes % 60) });
  };
  const span = (seconds) => {
    if (seconds < 90) return say("seconds", { s: Math.max(0, Math.floor(seconds)) });
    const minutes = Math.round(seconds / 60);
    if (minutes < 60) return say("minutes", { m: minutes });
    if (minutes < 48 * 60) return hoursMinutes(minutes / 60);
    return say("days-hours", { d: Math.floor(minutes / 1440), h: Math.floor((minutes % 1440) / 60) });
  };
  const time = (ms) => new Date(ms).toLocaleTimeString(language,
    { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  window.words = { say, number, span, hoursMinutes, time };
})();

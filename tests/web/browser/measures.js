// Measures of a page as it stands, its folds opened: what is wrong, how wide it is, how many bytes it took.
() => {
  const SMALLEST_PX = 12, URGENT_PX = 60, APART_PX = 16, TOUCH_PX = 44, NUMBERS = 7;
  const URGENT = ".grave, .hold, .press, #press, form[action$='/acknowledge'] button, form[action$='/remove'] button, "
    + "form[action$='/revoke'] button, form[action$='/leave'] button, form[action$='/cup-test/stop'] button, "
    + "form:has([name=to]:is([value=released], [value=spoiled], [value=closed])) button";
  const PRESSED = "a[href], button, summary, select, textarea, input:not([type=hidden], [type=checkbox], [type=radio]), "
    + "label:has([type=checkbox], [type=radio])";
  const NUMBER = ".stat-value, .huge, .value, [data-answer=core], [data-answer=limit], [data-answer=peak]";
  const faults = [];
  const name = (element) => {
    const text = element.textContent.trim().replace(/\s+/g, " ").slice(0, 40);
    const kind = element.classList.length ? `.${[...element.classList].join(".")}` : "";
    return `${element.localName}${element.id ? `#${element.id}` : kind} “${text}”`;
  };
  const seen = (element) => element.checkVisibility({ visibilityProperty: true }) && !element.closest(".away");
  // But for those that fetch what they hold.
  document.querySelectorAll("details:not([data-from])").forEach((fold) => { fold.open = true; });

  // Text, as large as it is drawn: a drawing may be scaled.
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const small = new Set();
  while (texts.nextNode()) {
    const parent = texts.currentNode.parentElement;
    if (!texts.currentNode.data.trim() || parent.closest("script, style, noscript, title, template") || !seen(parent))
      continue;
    const scale = parent.ownerSVGElement ? Math.abs(parent.getScreenCTM()?.d ?? 1) : 1;
    const px = parseFloat(getComputedStyle(parent).fontSize) * scale;
    if (px < SMALLEST_PX - 0.01) small.add(`${px.toFixed(1)} px small: ${name(parent)}`);
  }
  faults.push(...small);

  // Numbers against what is behind them, by the formula of WCAG 2.2.
  const channels = (colour) => {
    const [r, g, b, a = 1] = colour.match(/[\d.]+/g).map(Number);
    return colour.startsWith("color(srgb") ? [255 * r, 255 * g, 255 * b, a] : [r, g, b, a];
  };
  const over = ([r, g, b, a], [x, y, z]) => [a * r + (1 - a) * x, a * g + (1 - a) * y, a * b + (1 - a) * z];
  const behind = (element) => {
    if (!element) return [255, 255, 255];
    const colour = channels(getComputedStyle(element).backgroundColor);
    return colour[3] === 1 ? colour : over(colour, behind(element.parentElement));
  };
  const light = (rgb) => {
    const [r, g, b] = rgb.map((c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  for (const number of document.querySelectorAll(NUMBER)) {
    if (!seen(number) || !/\d/.test(number.textContent) || number.ownerSVGElement) continue;
    const ground = behind(number), ink = over(channels(getComputedStyle(number).color), ground);
    const [low, high] = [light(ink), light(ground)].sort((a, b) => a - b);
    const contrast = (high + 0.05) / (low + 0.05);
    if (contrast < NUMBERS) faults.push(`${contrast.toFixed(1)} to 1: ${name(number)}`);
  }

  // Room for a glove. A bar that stays on the screen lies over what scrolls beneath it: they are not side by side.
  const bar = (element) => {
    for (let at = element; at; at = at.parentElement)
      if (["fixed", "sticky"].includes(getComputedStyle(at).position)) return at;
    return null;
  };
  const pressed = [...document.querySelectorAll(PRESSED)].filter(seen)
    .map((element) => ({ element, box: element.getBoundingClientRect(), bar: bar(element) }))
    .filter(({ box }) => box.width > 0 && box.height > 0);
  const urgent = pressed.filter(({ element }) => element.matches(URGENT));
  for (const { element, box, bar: mine } of urgent) {
    if (box.height < URGENT_PX - 0.5) faults.push(`${box.height.toFixed(0)} px high: ${name(element)}`);
    for (const other of pressed) {
      if (other.element === element || other.bar !== mine || other.element.contains(element)
        || element.contains(other.element)) continue;
      const across = Math.max(other.box.left - box.right, box.left - other.box.right, 0);
      const down = Math.max(other.box.top - box.bottom, box.top - other.box.bottom, 0);
      const apart = Math.hypot(across, down);
      if (apart < APART_PX - 0.5)
        faults.push(`${apart.toFixed(0)} px from ${name(element)} to ${name(other.element)}`);
    }
  }
  // A small sign may take presses around it.
  const reach = (element) => {
    const around = getComputedStyle(element, "::after");
    return around.content !== "none" && around.position === "absolute" ? parseFloat(around.height) : 0;
  };
  if (matchMedia("(pointer: coarse)").matches) {
    const targets = "button, .button, summary, .top a, .trouble a, select, input:not([type=hidden])";
    for (const { element, box } of pressed)
      if (element.matches(targets) && Math.max(box.height, reach(element)) < TOUCH_PX - 0.5)
        faults.push(`${box.height.toFixed(0)} px high: ${name(element)}`);
  }

  // What a browser with nothing kept would have fetched, but for the chart's scripts, its data and photos.
  // The page itself counts once: it renews itself by asking for the same address.
  const resources = performance.getEntriesByType("resource").filter(({ name }) => name !== location.href);
  const sizes = [...performance.getEntriesByType("navigation"), ...resources]
    .map((one) => [one.encodedBodySize, new URL(one.name).pathname])
    .filter(([, path]) => !/^\/(static\/(vendor|curve\.js|section\.js)|api|live)\b|\/photos\/|\/section$/.test(path)).sort((a, b) => b[0] - a[0]);
  return {
    faults, width: document.documentElement.scrollWidth, bytes: sizes.reduce((sum, [bytes]) => sum + bytes, 0),
    largest: sizes.slice(0, 4).map(([bytes, path]) => `${path} ${bytes}`).join(", "),
  };
}

// A strip chart on canvas: one lane a channel, the extremes of every pixel column from the server,
// steady stretches and flagged spans marked with words and hatching, a second recording in dashes.
(() => {
  "use strict";
  const box = document.getElementById("chart");
  if (!box) return;
  const canvas = document.createElement("canvas");
  canvas.className = "chart";
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", box.dataset.label + ". Plus and minus zoom, arrow keys move.");
  const still = box.querySelector("img");
  const first = +box.dataset.first, last = +box.dataset.last;
  const say = document.getElementById("chart-says");
  let from = +box.dataset.from, to = +box.dataset.to;
  let shown = null, other = null, wanted = 0, mark = null;
  const channels = box.dataset.channels.split(",").filter(Boolean);
  const lane = 120, left = 8, foot = 34;

  const style = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const shift = () => +(document.getElementById("f-shift")?.value || 0);
  function address(base, a, b) {
    const query = new URLSearchParams();
    channels.forEach((c) => query.append("c", c));
    query.set("from", a); query.set("to", b); query.set("w", Math.max(200, Math.round(canvas.clientWidth)));
    return `${base}?${query}`;
  }
  async function load() {
    const ticket = ++wanted;
    const started = performance.now();
    const ask = [fetch(address(box.dataset.window, from, to)).then((r) => (r.ok ? r.json() : null))];
    if (box.dataset.other) ask.push(fetch(address(box.dataset.other, from - shift(), to - shift()) + "&by=name&names=" + encodeURIComponent(box.dataset.names)).then((r) => (r.ok ? r.json() : null)));
    const [mine, theirs] = await Promise.all(ask);
    if (ticket !== wanted || !mine) return;
    shown = mine; other = theirs || null;
    draw();
    box.dataset.ready = (performance.now() - started).toFixed(0);
  }
  function range(trace, second) {
    let a = trace.lowest, b = trace.highest;
    if (second && second.lowest !== null) { a = Math.min(a ?? second.lowest, second.lowest); b = Math.max(b ?? second.highest, second.highest); }
    if (a === null || a === undefined) return [0, 1];
    if (a === b) { a -= Math.abs(a) * 0.05 + 0.5; b += Math.abs(b) * 0.05 + 0.5; }
    const room = (b - a) * 0.08;
    return [a - room, b + room];
  }
  function times(trace, i) { return trace.t ? trace.t[i] : trace.t0 + i * trace.dt; }
  function trace(g, one, a, b, x, top, height, dashed, offset) {
    const y = (v) => top + height - ((v - a) / (b - a)) * height;
    g.beginPath();
    g.setLineDash(dashed ? [5, 4] : []);
    let pen = false;
    for (let i = 0; i < one.lo.length; i += 1) {
      const lo = one.lo[i], hi = one.hi[i];
      if (lo === null) { pen = false; continue; }
      const px = x(times(one, i) + offset);
      if (pen) g.lineTo(px, y(lo)); else g.moveTo(px, y(lo));
      if (hi !== lo) g.lineTo(px, y(hi));
      pen = true;
    }
    g.stroke();
    g.setLineDash([]);
  }
  function hatch(g, x0, x1, top, height) {
    g.save(); g.beginPath(); g.rect(x0, top, Math.max(x1 - x0, 3), height); g.clip();
    g.beginPath();
    for (let x = x0 - height; x < x1 + height; x += 8) { g.moveTo(x, top + height); g.lineTo(x + height, top); }
    g.stroke(); g.restore();
  }
  const figure = (v) => (v === null || v === undefined ? "" : Math.abs(v) >= 100 ? v.toFixed(0) : Math.abs(v) >= 10 ? v.toFixed(1) : v.toPrecision(3));
  function clock(s) {
    const span = to - from;
    return span > 600 ? `${(s / 60).toFixed(1)} min` : span > 20 ? `${s.toFixed(0)} s` : `${s.toFixed(span > 2 ? 1 : 3)} s`;
  }
  function draw() {
    const n = shown.traces.length, width = canvas.clientWidth, height = n * lane + foot;
    const dense = window.devicePixelRatio || 1;
    canvas.style.removeProperty("height");
    canvas.width = width * dense; canvas.height = height * dense;
    const g = canvas.getContext("2d");
    g.scale(dense, dense);
    const ink = style("--ink"), faint = style("--faint"), accent = style("--mark"), paper = style("--sheet"), soft = style("--soft");
    g.fillStyle = paper; g.fillRect(0, 0, width, height);
    const x = (t) => left + ((t - from) / (to - from)) * (width - 2 * left);
    g.font = "600 14px system-ui, sans-serif"; g.textBaseline = "top";
    for (const s of shown.steady) {
      g.fillStyle = style("--wash"); g.fillRect(x(s.start_s), 0, x(s.end_s) - x(s.start_s), n * lane);
      g.fillStyle = soft;
      const words = s.name || `${Math.round(s.rpm)} rpm`;
      if (x(s.end_s) - x(s.start_s) > g.measureText(words).width + 6) g.fillText(words, x(s.start_s) + 3, n * lane - 18);
    }
    shown.traces.forEach((one, i) => {
      const top = i * lane, twin = other && other.traces.find((t) => t.name === one.name);
      const [a, b] = range(one, twin);
      g.strokeStyle = ink; g.lineWidth = 1;
      for (const f of shown.flags) if (f.channel === one.name) { g.strokeStyle = soft; hatch(g, x(f.start_s), x(f.end_s), top + 2, lane - 4); }
      g.lineWidth = 1.75; g.lineJoin = "round";
      if (twin) { g.strokeStyle = ink; trace(g, twin, a, b, x, top + 24, lane - 32, true, shift()); }
      g.strokeStyle = accent; trace(g, one, a, b, x, top + 24, lane - 32, false, 0);
      const head = `${one.label}  ${figure(one.lowest)} to ${figure(one.highest)} ${one.unit}`;
      g.fillStyle = paper; g.fillRect(left, top + 3, g.measureText(head).width + 6, 18);
      g.fillStyle = ink; g.fillText(head, left + 2, top + 4);
      g.strokeStyle = faint; g.beginPath(); g.moveTo(0, top + lane); g.lineTo(width, top + lane); g.stroke();
    });
    const step = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 3600, 7200].find((s) => (to - from) / s <= width / 110) || (to - from) / 4;
    g.fillStyle = ink; g.strokeStyle = ink;
    for (let t = Math.ceil(from / step) * step; t <= to; t += step) {
      g.beginPath(); g.moveTo(x(t), n * lane); g.lineTo(x(t), n * lane + 6); g.stroke();
      const words = clock(t), w = g.measureText(words).width;
      g.fillText(words, Math.min(Math.max(x(t) - w / 2, 2), width - w - 2), n * lane + 10);
    }
    if (mark !== null) { g.strokeStyle = ink; g.setLineDash([2, 3]); g.beginPath(); g.moveTo(x(mark), 0); g.lineTo(x(mark), n * lane); g.stroke(); g.setLineDash([]); }
    say.textContent = `${clock(from)} to ${clock(to)} of ${clock(first)} to ${clock(last)}.`;
  }
  function tell(t) {
    mark = t;
    draw();
    const parts = shown.traces.map((one) => {
      let best = 0;
      for (let i = 1; i < one.lo.length; i += 1) if (Math.abs(times(one, i) - t) < Math.abs(times(one, best) - t)) best = i;
      const lo = one.lo[best], hi = one.hi[best];
      return lo === null || lo === undefined ? `${one.label} no reading` : `${one.label} ${lo === hi ? figure(lo) : `${figure(lo)} to ${figure(hi)}`} ${one.unit}`;
    });
    say.textContent = `At ${t.toFixed(2)} s: ${parts.join("; ")}.`;
  }
  function view(a, b) {
    const least = Math.max((last - first) / 1e6, 1e-4);
    const span = Math.min(Math.max(b - a, least), last - first);
    from = Math.min(Math.max(a, first), last - span); to = from + span;
    load();
  }
  const zoom = (k, at = (from + to) / 2) => view(at - (at - from) * k, at + (to - at) * k);
  const move = (part) => view(from + (to - from) * part, to + (to - from) * part);
  const acts = { in: () => zoom(0.5), out: () => zoom(2), left: () => move(-0.4), right: () => move(0.4), all: () => view(first, last) };
  for (const link of document.querySelectorAll("[data-act]")) link.addEventListener("click", (event) => { event.preventDefault(); acts[link.dataset.act](); });
  canvas.addEventListener("keydown", (event) => {
    const found = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", Home: "all" }[event.key];
    if (found) { event.preventDefault(); acts[found](); }
  });
  const at = (event) => from + ((event.clientX - canvas.getBoundingClientRect().left - left) / (canvas.clientWidth - 2 * left)) * (to - from);
  canvas.addEventListener("wheel", (event) => { if (!event.ctrlKey && !event.shiftKey) return; event.preventDefault(); zoom(event.deltaY > 0 ? 1.3 : 0.77, at(event)); }, { passive: false });
  // Drag: choose a stretch and go into it. Tap: read the values. Two fingers: pinch.
  const fingers = new Map();
  let pressed = null, pinch = null;
  canvas.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, event.clientX);
    canvas.setPointerCapture(event.pointerId);
    if (fingers.size === 2) pinch = { span: Math.abs([...fingers.values()][0] - [...fingers.values()][1]), from, to };
    else pressed = { x: event.clientX, t: at(event) };
  });
  canvas.addEventListener("pointermove", (event) => { if (fingers.has(event.pointerId)) fingers.set(event.pointerId, event.clientX); });
  function up(event) {
    if (pinch && fingers.size === 2) {
      const now = Math.abs([...fingers.values()][0] - [...fingers.values()][1]);
      if (now > 10) { const k = pinch.span / now, mid = (pinch.from + pinch.to) / 2; view(mid - (mid - pinch.from) * k, mid + (pinch.to - mid) * k); }
      pinch = null; pressed = null;
    } else if (pressed && event.type === "pointerup") {
      if (Math.abs(event.clientX - pressed.x) > 24) { const b = at(event); view(Math.min(pressed.t, b), Math.max(pressed.t, b)); }
      else if (shown) tell(pressed.t);
      pressed = null;
    }
    fingers.delete(event.pointerId);
  }
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  document.getElementById("f-shift")?.addEventListener("change", load);
  new ResizeObserver(() => { if (shown) draw(); }).observe(box);
  if (still) still.hidden = true;
  box.append(canvas);
  canvas.height = channels.length * lane + foot;
  load();
})();

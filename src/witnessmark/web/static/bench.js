// Nothing typed is ever lost: drafts stay on the device until the shop has them, saves wait in a
// queue and are sent once, and pages fill in what other devices have entered.
(() => {
  "use strict";
  const store = window.localStorage;
  const QUEUE = "wm.queue";
  const DRAFT = "wm.draft.";
  const bar = document.getElementById("queue");

  function read(key, otherwise) {
    try { return JSON.parse(store.getItem(key)) ?? otherwise; } catch { return otherwise; }
  }
  function write(key, value) {
    try { store.setItem(key, JSON.stringify(value)); return true; } catch { return false; }
  }

  // ---- drafts -------------------------------------------------------------------------------
  function fieldsOf(form, submitter) {
    const found = [];
    for (const [name, value] of new FormData(form, submitter || undefined)) {
      if (typeof value === "string") found.push([name, value]);
    }
    return found;
  }
  function keep(form) {
    write(DRAFT + form.dataset.draft, { at: Date.now(), fields: fieldsOf(form) });
  }
  function restore(form) {
    const held = read(DRAFT + form.dataset.draft, null);
    if (!held || Date.now() - held.at > 14 * 864e5) return;
    const values = new Map();
    for (const [name, value] of held.fields) {
      if (!values.has(name)) values.set(name, []);
      values.get(name).push(value);
    }
    let changed = false;
    for (const field of form.elements) {
      if (!field.name || !(values.has(field.name) || field.type === "checkbox")) continue;
      const given = values.get(field.name) || [];
      if (field.type === "radio" || field.type === "checkbox") {
        const on = given.includes(field.value);
        if (field.checked !== on) { field.checked = on; changed = true; }
      } else if (field.type !== "file" && field.type !== "submit") {
        if (field.type !== "hidden" && field.value !== given[0]) changed = true;
        field.value = given[0];
      }
    }
    if (changed) {
      const say = document.createElement("p");
      say.className = "tell";
      say.setAttribute("role", "status");
      say.textContent = "What you had typed here is back. ";
      const drop = document.createElement("button");
      drop.type = "button"; drop.className = "plain"; drop.textContent = "Start afresh";
      drop.addEventListener("click", () => { forget(form); location.reload(); });
      say.append(drop);
      form.prepend(say);
    }
  }
  function forget(form) { store.removeItem(DRAFT + form.dataset.draft); form.dataset.sent = "yes"; }

  // ---- the queue ----------------------------------------------------------------------------
  let busy = false;
  function show() {
    const waiting = read(QUEUE, []);
    bar.hidden = waiting.length === 0;
    bar.replaceChildren();
    lift();
    if (!waiting.length) return;
    const words = document.createElement("span");
    const held = waiting.filter((one) => one.refused);
    words.textContent = held.length
      ? `Not taken: ${held[0].refused}`
      : `${waiting.length} ${waiting.length === 1 ? "entry is" : "entries are"} kept on this device and will be sent.`;
    const button = document.createElement("button");
    button.type = "button"; button.className = "btn";
    button.textContent = held.length ? "Go back to it" : "Send now";
    button.addEventListener("click", () => {
      if (!held.length) { flush(); return; }
      const one = held[0];
      write(QUEUE, read(QUEUE, []).filter((other) => other.key !== one.key));
      write(DRAFT + one.draft, { at: Date.now(), fields: one.fields });
      location.assign(one.page);
    });
    bar.append(words, button);
    lift();
  }
  // What else stays at the foot of the screen stands on top of this bar, never under it.
  function lift() {
    document.documentElement.style.setProperty("--queue", `${bar.hidden ? 0 : bar.offsetHeight}px`);
  }
  window.addEventListener("resize", lift);
  async function send(one) {
    const response = await fetch(one.url, {
      method: "POST", body: new URLSearchParams(one.fields), credentials: "same-origin",
      headers: { "x-witnessmark": "queue", accept: "application/json" },
    });
    if (response.status >= 500 || response.status === 429) throw new Error("later");
    if (response.status === 401) { location.assign(`/login?next=${encodeURIComponent(location.pathname)}`); throw new Error("sign in"); }
    const answer = await response.json();
    return response.ok ? { next: answer.next } : { refused: answer };
  }
  function out(key, change) {
    const waiting = read(QUEUE, []);
    write(QUEUE, change ? waiting.map((o) => (o.key === key ? { ...o, ...change } : o)) : waiting.filter((o) => o.key !== key));
  }
  // One tab at a time sends; the entry's own id makes a second sending harmless anyway.
  async function flush() {
    if (busy) return;
    busy = true;
    const work = async () => {
      for (const one of read(QUEUE, [])) {
        if (one.refused) continue;
        try {
          const done = await send(one);
          if (done.refused) out(one.key, { refused: `${done.refused.what} ${done.refused.do || ""}`.trim() });
          else out(one.key);
        } catch { break; }
      }
    };
    try {
      if (navigator.locks) await navigator.locks.request("wm-queue", work); else await work();
    } finally { busy = false; show(); }
  }
  function complain(form, answer) {
    form.querySelector(".tell.refused")?.remove();
    const say = document.createElement("div");
    say.className = "tell refused";
    say.setAttribute("role", "alert");
    const strong = document.createElement("strong");
    strong.textContent = answer.what;
    say.append(strong, ` ${answer.do || ""}`);
    form.prepend(say);
    say.scrollIntoView({ block: "center" });
  }
  async function submitted(event) {
    const form = event.target;
    if (!form.dataset.draft || form.method !== "post") return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    // A page that two devices hold was made once: each tap on a result is an entry of its own.
    if (form.classList.contains("fork")) form.elements.entry_id.value = freshId();
    const one = {
      key: crypto.randomUUID ? crypto.randomUUID() : String(Math.random()).slice(2) + Date.now(),
      url: form.getAttribute("action"), fields: fieldsOf(form, event.submitter),
      page: location.pathname + location.search, draft: form.dataset.draft, at: Date.now(),
    };
    // First on the device, then on the wire.
    write(QUEUE, [...read(QUEUE, []), one]);
    try {
      const done = await send(one);
      out(one.key);
      if (done.refused) { complain(form, done.refused); return; }
      forget(form);
      go(done.next);
    } catch {
      forget(form);
      show();
      const where = form.action.match(/\/cases\/[^/]+/);
      complain(form, { what: "The shop cannot be reached now.", do: "The entry is kept on this device and will be sent by itself." });
      form.reset();
      const id = form.elements.entry_id;
      if (id) id.value = freshId();
      if (where) show();
    } finally { delete form.dataset.busy; }
  }
  function freshId() {
    return "e" + [...crypto.getRandomValues(new Uint8Array(6))].map((b) => b.toString(16).padStart(2, "0")).join("");
  }
  function go(next) {
    const target = new URL(next, location.href);
    if (target.pathname === location.pathname && target.search === location.search) {
      location.hash = target.hash; location.reload();
    } else location.assign(next);
  }

  // ---- what others enter ----------------------------------------------------------------------
  // The shop says when something changes. Where that cannot be had the page asks now and then.
  const PAUSE = 5000;
  let source = null;
  function heard(now) {
    const live = document.getElementById("live");
    if (!live) return;
    const done = live.dataset.working === "yes" && !now.working;
    if (now.version !== live.dataset.version || done) refill(live).catch(() => { /* next time */ });
  }
  function watch() {
    const live = document.getElementById("live");
    if (!live || !live.dataset.watch || source || document.visibilityState !== "visible") return;
    if (!window.EventSource || !live.dataset.events) { ask(); return; }
    source = new EventSource(live.dataset.events);
    source.onmessage = (event) => { try { heard(JSON.parse(event.data)); } catch { /* not for us */ } };
    source.onerror = () => {
      if (source && source.readyState === EventSource.CLOSED) { source = null; setTimeout(ask, PAUSE); }
    };
  }
  async function ask() {
    const live = document.getElementById("live");
    if (!live || source) return;
    if (document.visibilityState === "visible") {
      try {
        const response = await fetch(live.dataset.watch, { headers: { accept: "application/json" }, cache: "no-store" });
        if (response.ok) heard(await response.json());
      } catch { /* the link is down; next time */ }
    }
    setTimeout(ask, PAUSE);
  }
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") watch();
    else if (source) { source.close(); source = null; }
  });
  window.addEventListener("pagehide", () => { if (source) { source.close(); source = null; } });
  async function refill(live) {
    const response = await fetch(location.pathname + location.search, { headers: { accept: "text/html" }, cache: "no-store" });
    if (!response.ok) return;
    const fresh = new DOMParser().parseFromString(await response.text(), "text/html").getElementById("live");
    if (!fresh) return;
    // Keep opened what the reader has opened, and the place he reads.
    const open = [...live.querySelectorAll("details[open] > summary")].map(named);
    const focused = document.activeElement && live.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    for (const summary of fresh.querySelectorAll("details > summary")) {
      summary.parentElement.open = open.includes(named(summary));
    }
    live.replaceWith(fresh);
    if (focused) fresh.querySelector(`[href="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
  }

  // ---- folds ----------------------------------------------------------------------------------
  // A fold is named apart from what its heading counts.
  function named(summary) { return summary.parentElement.dataset.fold || summary.textContent; }
  // What a link leads to is opened, also in a browser that does not do so by itself.
  function unfold() {
    const target = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const fold = target && target.closest("details:not([open])");
    if (fold) { fold.open = true; target.scrollIntoView(); }
  }
  window.addEventListener("hashchange", unfold);
  if (window.matchMedia("(min-width: 64rem)").matches) {
    for (const fold of document.querySelectorAll("details[data-wide]")) fold.open = true;
  }
  unfold();

  // ---- find -----------------------------------------------------------------------------------
  // Rows that do not say the words are put away as one types; without script the button asks.
  for (const field of document.querySelectorAll("input[data-filter]")) {
    field.addEventListener("input", () => {
      const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
      for (const row of document.querySelectorAll(field.dataset.filter)) {
        row.hidden = !words.every((word) => row.dataset.said.includes(word));
      }
      for (const head of document.querySelectorAll("[data-group] h3")) {
        let row = head.nextElementSibling;
        let any = false;
        while (row && row.tagName !== "H3") { any = any || !row.hidden; row = row.nextElementSibling; }
        head.hidden = !any;
      }
      for (const group of document.querySelectorAll("[data-group]")) {
        group.hidden = !group.querySelector(".check:not([hidden])");
      }
    });
  }

  // ---- begin ------------------------------------------------------------------------------------
  for (const form of document.querySelectorAll("form[data-draft]")) {
    restore(form);
    form.addEventListener("input", () => { if (!form.dataset.sent) keep(form); });
    form.addEventListener("input", () => { delete form.dataset.sent; }, { capture: true });
  }
  document.addEventListener("submit", submitted);
  window.addEventListener("online", flush);
  window.addEventListener("storage", show);
  setInterval(() => { if (read(QUEUE, []).length) flush(); }, 4000);
  show();
  if (read(QUEUE, []).length) flush();
  watch();
  window.witnessmark = { keep, forget, go };
})();

// Nothing typed is ever lost: drafts stay on the device until the shop has them, saves go through
// the queue of kept.js, and pages fill in what other devices have entered.
(() => {
  "use strict";
  const store = window.localStorage;
  const DRAFT = "wm.draft.";
  const USED = "wm.used";
  const LINE = "wm.line.";
  const kept = window.WmKept;
  const seen = Number(document.body.dataset.held) || Date.now();

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
  // Of these what a person entered, not what the page carries along.
  function entered(form) { return fieldsOf(form).filter(([name]) => form.elements[name]?.type !== "hidden"); }
  function keep(form) {
    const held = write(DRAFT + form.dataset.draft, { at: Date.now(), fields: fieldsOf(form) });
    if (held || form.querySelector(".tell.unkept")) return;
    const say = document.createElement("p");
    say.className = "tell unkept";
    say.setAttribute("role", "status");
    say.textContent = "This device has no room left: what you type here is NOT kept until it is saved.";
    form.prepend(say);
  }
  // True where a field a person sees was changed.
  function fill(form, fields) {
    const values = new Map();
    for (const [name, value] of fields) {
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
    return changed;
  }
  function restore(form) {
    const held = read(DRAFT + form.dataset.draft, null);
    if (!held || Date.now() - held.at > 14 * 864e5) return;
    if (!fill(form, held.fields)) return;
    form.dataset.typed = "yes";
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
  function forget(form) { store.removeItem(DRAFT + form.dataset.draft); delete form.dataset.typed; }

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
  // An id that went out once is never given to another entry, also not from a page out of store.
  const went = new Set(read(USED, []));
  function renew(form, used) {
    const id = form.elements.entry_id;
    if (!id) return;
    if (used) {
      went.add(id.value);
      write(USED, [...went].slice(-200));
    }
    id.value = freshId();
  }
  function called(form) {
    const said = entered(form).filter(([name]) => !["entry_id", "unit", "then", "quantity"].includes(name));
    return [document.title.replace(/ · Witnessmark$/, ""), ...said.map(([, value]) => value)].filter(Boolean).join(", ").slice(0, 120);
  }
  function made(form, submitter) {
    const files = [];
    for (const field of form.querySelectorAll("input[type=file]")) {
      for (const file of field.files) files.push([field.name, file, file.name]);
    }
    return {
      key: freshId() + freshId(), url: form.getAttribute("action"), fields: fieldsOf(form, submitter), files,
      page: location.pathname + location.search, draft: form.dataset.draft, at: Date.now(), seen, who: kept.who,
      says: called(form), direct: true,
    };
  }
  async function submitted(event) {
    const form = event.target;
    if (form.classList.contains("say")) { said(event); return; }
    if (!form.dataset.draft || form.method !== "post") return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    // A page that two devices hold was made once: each tap on a result is an entry of its own.
    if (form.classList.contains("fork") || went.has(form.elements.entry_id?.value)) renew(form, false);
    const one = made(form, event.submitter);
    try {
      // First on the device, then on the wire.
      const held = await kept.put(one);
      let done = null;
      try { done = await kept.send(one); } catch (error) { await unsent(form, one, held, error); return; }
      delete form.dataset.unkept;
      if (done.refused) { await kept.drop(one.key); complain(form, done.refused); return; }
      if (done.met) await kept.put({ ...one, files: [], met: done.met, direct: false }); else await kept.drop(one.key);
      forget(form);
      renew(form, true);
      go(done.next);
    } finally { delete form.dataset.busy; }
  }
  async function unsent(form, one, held, error) {
    if (!held) {
      form.dataset.unkept = "yes";
      complain(form, {
        what: "NOT kept. The shop cannot be reached, and this device has no room left.",
        do: "It stands in this form only: leave this page open. Make room on the device, or save again when the link is back.",
      });
      return;
    }
    delete form.dataset.unkept;
    await kept.put({ ...one, direct: false });
    forget(form);
    complain(form, error.message === "sign in"
      ? { what: "You are not signed in any more.", do: "The entry is kept on this device; sign in, and it is sent." }
      : { what: "The shop cannot be reached now.", do: "The entry is kept on this device and will be sent by itself." });
    form.reset();
    renew(form, true);
    kept.show();
  }
  window.addEventListener("beforeunload", (event) => {
    if (document.querySelector("form[data-unkept]")) event.preventDefault();
  });

  // ---- a line -----------------------------------------------------------------------------------
  // What a line means is worked out in the shop. Out of reach it waits here, to be read there later.
  async function said(event) {
    const form = event.target;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    const field = form.elements.line;
    const place = form.getAttribute("action").replace(/\/say$/, "");
    write(LINE + place, field.value);
    try {
      await fetch("/health", { cache: "no-store", signal: AbortSignal.timeout?.(5000) });
      form.submit();
    } catch {
      const fields = [["entry_id", freshId()], ["about", "said_line"], ["words", field.value]];
      const one = { ...made(form), url: `${place}/add/note`, fields, files: [], draft: `line-${place}`, says: field.value, direct: false };
      if (await kept.put(one)) {
        store.removeItem(LINE + place);
        field.value = "";
        complain(form, { what: "The shop cannot be reached now.", do: "The line is kept on this device. It goes to the case in your words, and waits there to be read." });
        kept.show();
      } else complain(form, { what: "NOT kept. The shop cannot be reached, and this device has no room left.", do: "Leave this page open." });
    } finally { delete form.dataset.busy; }
  }
  for (const form of document.querySelectorAll("form.say")) {
    const place = form.getAttribute("action").replace(/\/say$/, "");
    if (location.pathname.endsWith("/say")) store.removeItem(LINE + place);
    else if (!form.elements.line.value) form.elements.line.value = read(LINE + place, "");
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
  // From a press to what it does, and to the next press of the same hand [ms].
  const PRESS = 1500;
  // Who is in a field and does nothing for this long has stopped to type [ms].
  const TYPING = 8000;
  let source = null;
  function heard(now) {
    const live = document.getElementById("live");
    if (!live) return;
    const done = live.dataset.working === "yes" && !now.working;
    if (now.version !== live.dataset.version || done) refill().catch(() => { /* next time */ });
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
  // While someone types, presses or saves in what would be replaced, it stays as it is.
  let touched = 0;
  for (const kind of ["pointerdown", "keydown", "input", "focusin"]) {
    document.addEventListener(kind, () => { touched = Date.now(); }, { capture: true });
  }
  function inUse(live) {
    const now = document.activeElement;
    const typing = live.contains(now) && now.matches("input:not([type=checkbox], [type=radio]), select, textarea");
    return Date.now() - touched < (typing ? TYPING : PRESS) || live.querySelector("form[data-busy], form[data-unkept]");
  }
  // One comes anew after the other: what changes meanwhile is fetched once more, never dropped.
  let stale = false;
  let filling = false;
  async function refill() {
    stale = true;
    if (filling) return;
    filling = true;
    try {
      while (stale) {
        if (inUse(document.getElementById("live"))) await new Promise((done) => setTimeout(done, PRESS));
        else await comeAnew();
      }
    } finally { filling = false; }
  }
  async function comeAnew() {
    stale = false;
    const response = await fetch(location.pathname + location.search, { headers: { accept: "text/html" }, cache: "no-store" });
    if (!response.ok) return;
    const fresh = new DOMParser().parseFromString(await response.text(), "text/html").getElementById("live");
    if (!fresh) return;
    const live = document.getElementById("live");
    if (inUse(live)) { stale = true; return; }
    // What was typed and not yet sent goes with the page.
    for (const form of live.querySelectorAll("form[data-typed]")) {
      const same = fresh.querySelector(`form[data-draft="${CSS.escape(form.dataset.draft)}"]`);
      if (!same) continue;
      fill(same, entered(form));
      same.dataset.typed = "yes";
    }
    // Keep opened what the reader has opened, and the place he reads.
    const open = [...live.querySelectorAll("details[open] > summary")].map(named);
    const at = live.contains(document.activeElement) ? document.activeElement : null;
    const place = at && (at.id ? `#${CSS.escape(at.id)}` : at.getAttribute("href") && `[href="${CSS.escape(at.getAttribute("href"))}"]`);
    for (const summary of fresh.querySelectorAll("details > summary")) {
      summary.parentElement.open = open.includes(named(summary));
    }
    live.replaceWith(fresh);
    const again = place && fresh.querySelector(place);
    again?.focus({ preventScroll: true });
    if (again && at.selectionStart != null) again.setSelectionRange?.(at.selectionStart, at.selectionEnd);
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

  // ---- several trucks -------------------------------------------------------------------------
  // Each truck is found as it was left: its page, its folds, how far down. What is typed is kept
  // by the forms themselves.
  const trucks = document.querySelector(".trucks");
  const mine = trucks?.querySelector("[aria-current]")?.dataset.truck;
  function left(truck) {
    try { return JSON.parse(sessionStorage.getItem(`wm-truck-${truck}`) || "null"); } catch { return null; }
  }
  if (mine) {
    const before = left(mine);
    if (before && before.back) {
      for (const summary of document.querySelectorAll("details > summary")) {
        summary.parentElement.open = before.folds.includes(named(summary));
      }
      window.scrollTo(0, before.y);
    }
    const note = (back) => {
      const open = [...document.querySelectorAll("details[open] > summary")].map(named);
      const state = { path: location.pathname + location.search, y: window.scrollY, folds: open, back };
      try { sessionStorage.setItem(`wm-truck-${mine}`, JSON.stringify(state)); } catch { /* nothing is kept */ }
    };
    note(false);
    window.addEventListener("pagehide", () => note(false));
    for (const link of trucks.querySelectorAll("a:not([aria-current])")) {
      link.addEventListener("click", () => {
        const there = left(link.dataset.truck);
        if (!there) return;
        link.href = there.path;
        sessionStorage.setItem(`wm-truck-${link.dataset.truck}`, JSON.stringify({ ...there, back: true }));
      });
    }
  }

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
    // A page out of the device's store was made once and may be opened often.
    if (document.body.dataset.held) renew(form, false);
    restore(form);
  }
  // Forms come anew with what others enter: what is typed is heard by the page, not by each form.
  document.addEventListener("input", (event) => {
    const form = event.target.form;
    if (!form?.dataset.draft) return;
    form.dataset.typed = "yes";
    keep(form);
  });
  document.addEventListener("submit", submitted);
  watch();
  window.witnessmark = { keep, forget, go };
})();

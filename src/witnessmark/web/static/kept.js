// What waits on this device: entries and photos in the browser's own database, first on the
// device, then on the wire, sent once each. It says what is kept, and what is not.
(() => {
  "use strict";
  const bar = document.getElementById("queue");
  const OLD = "wm.queue";
  const body = document.body;
  const who = body.dataset.who || "";
  let opened = null;
  let showing = 0;

  // ---- the store ----------------------------------------------------------------------------
  function database() {
    opened ??= new Promise((done, fail) => {
      const asked = indexedDB.open("witnessmark", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("queue", { keyPath: "key" });
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => fail(asked.error);
    });
    opened.catch(() => { opened = null; });
    return opened;
  }
  async function within(mode, work) {
    const db = await database();
    return new Promise((done, fail) => {
      const step = db.transaction("queue", mode, { durability: "strict" });
      let result;
      step.oncomplete = () => done(result.result);
      step.onerror = step.onabort = () => fail(step.error || new Error("not kept"));
      result = work(step.objectStore("queue"));
    });
  }
  function old() { try { return JSON.parse(localStorage.getItem(OLD)) || []; } catch { return []; } }
  const written = (one) => within("readwrite", (store) => store.put(one)).then(() => true, () => false);
  // Where the browser takes no file into its database (a private window of some), it takes the bytes.
  async function asBytes(one) {
    const files = one.files.map(async ([name, file, called]) => [name, { bytes: await file.arrayBuffer(), type: file.type }, called]);
    return { ...one, files: await Promise.all(files) };
  }
  function asFiles(one) {
    const files = (one.files || []).map(([name, file, called]) => [name, file instanceof Blob ? file : new File([file.bytes], called, { type: file.type }), called]);
    return { ...one, files };
  }
  // Where the browser gives no database, words (not files) are kept in its small store.
  async function put(one) {
    if (await written(one)) return true;
    if (one.files?.length) return asBytes(one).then(written).catch(() => false);
    try {
      localStorage.setItem(OLD, JSON.stringify([...old().filter((other) => other.key !== one.key), one]));
      return old().some((other) => other.key === one.key);
    } catch { return false; }
  }
  async function drop(key) {
    await within("readwrite", (store) => store.delete(key)).catch(() => { /* not there */ });
    const rest = old().filter((one) => one.key !== key);
    try { if (rest.length) localStorage.setItem(OLD, JSON.stringify(rest)); else localStorage.removeItem(OLD); } catch { /* next time */ }
  }
  async function all() {
    const found = await within("readonly", (store) => store.getAll()).catch(() => []);
    const keys = new Set(found.map((one) => one.key));
    return [...found.map(asFiles), ...old().filter((one) => !keys.has(one.key))].sort((a, b) => a.at - b.at);
  }

  // ---- sending ------------------------------------------------------------------------------
  // The entry's own id makes a second sending harmless.
  async function send(one) {
    let sent = new URLSearchParams(one.fields);
    if (one.files?.length) {
      sent = new FormData();
      for (const [name, value] of one.fields) sent.append(name, value);
      for (const [name, file, called] of one.files) sent.append(name, file, called);
    }
    const headers = { "x-witnessmark": "queue", accept: "application/json" };
    headers["x-witnessmark-age"] = String(Math.max(0, Math.round((Date.now() - one.at) / 1000)));
    headers["x-witnessmark-seen"] = String(Math.max(0, Math.round((Date.now() - (one.seen || one.at)) / 1000)));
    headers["x-witnessmark-entry"] = (one.fields.find(([name]) => name === "entry_id") || ["", ""])[1];
    headers["x-witnessmark-own"] = own().join(",");
    const response = await fetch(one.url, { method: "POST", body: sent, credentials: "same-origin", headers });
    if (response.status === 401) throw new Error("sign in");
    if (response.status >= 500 || response.status === 429 || response.status === 408) throw new Error("later");
    const answer = await response.json();
    return response.ok ? { next: answer.next, met: answer.met || "" } : { refused: answer };
  }
  // What this device has sent itself is nothing that it did not see.
  function own() { try { return (JSON.parse(localStorage.getItem("wm.used")) || []).slice(-60); } catch { return []; } }
  const mine = (one) => one.who === undefined || one.who === who;
  // What a page sends right now is left to it, for as long as that page can be alive.
  const waits = (one) => !one.refused && !one.met && mine(one) && !(one.direct && Date.now() - one.at < 30e3);
  let busy = false;
  let why = "";
  // One tab at a time sends.
  async function flush() {
    if (busy || !bar) return;
    busy = true;
    const work = async () => {
      why = "";
      for (const one of await all()) {
        if (!waits(one)) continue;
        try {
          const done = await send(one);
          if (done.refused) await put({ ...one, refused: `${done.refused.what} ${done.refused.do || ""}`.trim() });
          else if (done.met) await put({ ...one, files: [], met: done.met });
          else await drop(one.key);
        } catch (error) { why = error.message; break; }
        await show();
      }
    };
    try {
      if (navigator.locks) await navigator.locks.request("wm-queue", work); else await work();
    } finally { busy = false; await show(); }
  }

  // ---- what waits, in sight -----------------------------------------------------------------
  const clock = (at) => new Date(Number(at)).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  function element(name, text, kind) {
    const made = document.createElement(name);
    if (text) made.textContent = text;
    if (kind) made.className = kind;
    return made;
  }
  function button(text, act) {
    const made = element("button", text, "btn");
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  }
  function summed(waiting) {
    const held = waiting.filter((one) => one.refused);
    const met = waiting.filter((one) => one.met);
    const others = waiting.filter((one) => !mine(one));
    if (held.length) return `Not taken: ${held[0].refused}`;
    if (met.length) return `Both are kept. ${met[0].met}`;
    if (why === "sign in") return `Sign in: ${waiting.length === 1 ? "1 entry waits" : `${waiting.length} entries wait`} on this device.`;
    if (others.length === waiting.length) return `${waiting.length === 1 ? "1 entry waits" : `${waiting.length} entries wait`} here for ${others[0].who || "nobody named"} to sign in.`;
    return `${waiting.length} ${waiting.length === 1 ? "entry is" : "entries are"} kept on this device and will be sent.`;
  }
  async function show() {
    if (!bar) return;
    const turn = showing += 1;
    const waiting = (await all()).filter((one) => !one.direct || waits(one));
    if (turn !== showing) return;
    const open = bar.querySelector("details")?.open;
    bar.hidden = waiting.length === 0 && !body.dataset.held;
    bar.replaceChildren();
    if (body.dataset.held && body.dataset.back) {
      bar.append(element("span", "The shop can be reached again."), button("Load the page anew", () => location.reload()));
    } else if (body.dataset.held) bar.append(element("span", `${body.dataset.missing ? "That page is not on this device; these cases are. " : ""}The shop cannot be reached. This page is from ${clock(body.dataset.held)}.`));
    if (waiting.length) {
      bar.append(element("span", summed(waiting)));
      const held = waiting.find((one) => one.refused);
      const met = waiting.find((one) => one.met);
      if (held && held.files?.length) bar.append(...files(held));
      else if (held) bar.append(button("Go back to it", () => goBack(held)));
      else if (met) bar.append(button("Seen", () => drop(met.key).then(show)));
      else if (why === "sign in") bar.append(button("Sign in", () => location.assign(`/login?next=${encodeURIComponent(location.pathname)}`)));
      else if (waiting.some(waits)) bar.append(button("Send now", flush));
      const fold = element("details");
      fold.open = Boolean(open);
      fold.append(element("summary", "What waits"));
      const list = element("ol");
      for (const one of waiting) {
        const files = (one.files || []).map(([, file]) => `${(file.size / 1048576).toFixed(1)} MB`);
        list.append(element("li", [clock(one.at), one.says || one.page, ...files].join(" · ")));
      }
      fold.append(list);
      fold.addEventListener("toggle", lift);
      bar.append(fold);
    }
    lift();
  }
  // A photo that is not taken may be nowhere else: it can be saved before it is let go.
  function files(one) {
    const copies = one.files.map(([, file, called]) => {
      const link = element("a", "Save a copy", "btn");
      link.href = URL.createObjectURL(file);
      link.download = called;
      return link;
    });
    return [...copies, button("Let it go", () => drop(one.key).then(show))];
  }
  async function goBack(one) {
    try { localStorage.setItem(`wm.draft.${one.draft}`, JSON.stringify({ at: Date.now(), fields: one.fields })); } catch { /* it stays in the queue */ return; }
    await drop(one.key);
    location.assign(one.page);
  }
  // What else stays at the foot of the screen stands on top of this bar, never under it.
  function lift() {
    if (bar) document.documentElement.style.setProperty("--queue", `${bar.hidden ? 0 : bar.offsetHeight}px`);
  }

  // ---- pages that open without the link -----------------------------------------------------
  const say = document.getElementById("keeps");
  function keeps(works) {
    if (!say) return;
    say.dataset.keeps = works ? "yes" : "no";
    say.hidden = false;
    if (works) { say.textContent = "Works on without the link: open cases and their forms are on this device."; return; }
    say.className = "tell";
    say.replaceChildren(element("strong", "Without the link no page opens on this device."), " What you enter on a page that is open is kept, and is sent later. ");
    const how = element("a", "Set this device up");
    how.href = "/certificate";
    say.append(how);
  }
  async function register() {
    if (!say) return;
    try {
      if (!("serviceWorker" in navigator)) throw new Error("none");
      await navigator.serviceWorker.register("/sw.js", { scope: "/" });
      const ready = await navigator.serviceWorker.ready;
      keeps(true);
      if (!body.dataset.held) ready.active.postMessage({ hold: location.pathname + location.search });
    } catch { keeps(false); }
  }
  navigator.serviceWorker?.addEventListener("message", (event) => {
    if (event.data?.holds) body.dataset.holds = event.data.holds;
  });

  window.WmKept = { put, drop, all, send, flush, show, who };
  window.addEventListener("resize", lift);
  window.addEventListener("online", flush);
  window.addEventListener("storage", show);
  async function lookBack() {
    const answer = await fetch("/health", { cache: "no-store" }).catch(() => null);
    if (answer?.ok) { body.dataset.back = "yes"; await show(); }
  }
  setInterval(async () => {
    if (body.dataset.held && !body.dataset.back) await lookBack(); if ((await all()).some(waits)) flush(); }, 4000);
  show().then(flush);
  if (document.readyState === "complete") register(); else window.addEventListener("load", register);
})();

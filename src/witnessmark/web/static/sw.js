// Keeps the pages of this shop on the device: what was opened here, and the open cases with their
// forms, can be opened again while the shop's machine cannot be reached. Writes never pass here.
"use strict";
const VERSION = "/*VERSION*/";
const SHELL = ["/*SHELL*/"];
const STATIC = `wm-shell-${VERSION}`;
const PAGES = `wm-pages-${VERSION}`;
// A shop that does not answer within this time counts as out of reach where a page is held [ms].
const LONGEST = 6000;
// What is held is fetched again when older than this [ms].
const FRESH = 15 * 60e3;
const MOST_CASES = 12;
// One page that does not come holds up no other for longer [ms].
const LONGEST_HOLD = 30e3;
const KEPT = /^\/(?:$|new$|trucks$|phone$|cases\/[^/]+(?:$|\/(?:reading|looked|tests|photo|recording|shift|parts)$|\/inspection(?:\/(?:begin|sign|(?:read|repaired)\/[a-z0-9_]+))?$|\/add\/[a-z]+$|\/about\/[^/]+$))/;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    await (await caches.open(STATIC)).addAll(SHELL);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await self.clients.claim();
    // Pages of an earlier version are fetched anew; until the last of them is here, all stay.
    let whole = true;
    const old = (await caches.keys()).filter((name) => name.startsWith("wm-") && name !== STATIC && name !== PAGES);
    for (const name of old.filter((one) => one.startsWith("wm-pages-"))) {
      for (const held of await (await caches.open(name)).keys()) {
        try { await take(held.url); } catch { whole = false; }
      }
    }
    if (whole) for (const name of old) await caches.delete(name);
  })());
});

// One address, one page: what only says that an entry was stored does not count.
function addressOf(url) {
  const address = new URL(url);
  address.hash = "";
  address.searchParams.delete("saved");
  return address.href;
}
async function keep(url, response) {
  const kind = response.headers.get("content-type") || "";
  if (!response.ok || response.redirected || !kind.startsWith("text/html") || !KEPT.test(new URL(url).pathname)) return;
  const headers = new Headers(response.headers);
  headers.set("x-held-at", String(Date.now()));
  await (await caches.open(PAGES)).put(addressOf(url), new Response(await response.blob(), { status: 200, headers }));
}
async function take(url) {
  const response = await fetch(url, { headers: { accept: "text/html" }, credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(LONGEST_HOLD) });
  if (response.redirected || response.status === 401) { await forgetPages(); return null; }
  await keep(url, response.clone());
  return response.ok ? response.text() : null;
}
async function held(url) {
  const address = addressOf(url);
  return (await (await caches.open(PAGES)).match(address)) || caches.match(address);
}
async function forgetPages() {
  for (const name of await caches.keys()) if (name.startsWith("wm-pages-")) await caches.delete(name);
}
// A page from the device says so, and since when.
async function asHeld(response) {
  const at = response.headers.get("x-held-at") || "";
  const text = (await response.text()).replace("<body", `<body data-held="${at}"`);
  return new Response(text, { status: 200, headers: response.headers });
}
async function notHeld(url) {
  const home = await held(new URL("/", url).href);
  if (!home) return new Response("<!doctype html><title>Out of reach</title><h1>The shop cannot be reached.</h1><p>This page is not on this device. What you entered is; it goes out later.</p>", { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
  const text = (await home.text()).replace("<body", `<body data-held="${home.headers.get("x-held-at")}" data-missing="yes"`);
  return new Response(text, { status: 200, headers: home.headers });
}

async function navigated(request) {
  const found = await held(request.url);
  const asked = fetch(request);
  try {
    const response = found ? await Promise.race([asked, late()]) : await asked;
    if (response.status >= 502 && response.status <= 504 && found) return await asHeld(found);
    if (new URL(request.url).pathname === "/login") await forgetPages();
    keep(request.url, response.clone()).catch(() => { /* the device is full: the page is not held */ });
    return response;
  } catch {
    asked.catch(() => { /* it came too late, or never */ });
    return found ? asHeld(found) : notHeld(request.url);
  }
}
function late() { return new Promise((_, reject) => setTimeout(() => reject(new Error("late")), LONGEST)); }

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === "/logout") { event.waitUntil(forgetPages()); return; }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) {
    event.respondWith((async () => (await caches.match(request)) || fetch(request))());
  } else if (request.mode === "navigate" && !url.pathname.startsWith("/c/")) event.respondWith(navigated(request));
});

// The page that is open asks for what can be opened from it.
let holding = Promise.resolve();
self.addEventListener("message", (event) => {
  if (typeof event.data?.hold !== "string") return;
  const url = new URL(event.data.hold, self.location.origin);
  if (url.origin !== self.location.origin) return;
  holding = holding.then(() => hold(url.href)).catch(() => { /* the link is down; next time */ });
  event.waitUntil(holding.then(() => event.source?.postMessage({ holds: url.pathname })));
});
async function fresh(url) {
  const found = await held(url);
  if (found && Date.now() - Number(found.headers.get("x-held-at")) < FRESH) return found.text();
  return take(url);
}
function links(text, pattern) {
  const found = new Set();
  for (const [, href] of (text || "").matchAll(pattern)) found.add(new URL(href.replaceAll("&amp;", "&"), self.location.origin).href);
  return [...found];
}
async function hold(url) {
  const text = await fresh(url);
  const path = new URL(url).pathname;
  if (path === "/") {
    for (const other of ["/new", "/trucks"]) await fresh(new URL(other, url).href);
    for (const one of links(text, /href="(\/cases\/[^/"?#]+)"/g).slice(0, MOST_CASES)) await hold(one);
  }
  const whole = path.match(/^\/cases\/[^/]+/);
  if (!whole) return;
  await fresh(new URL("/", url).href);
  const of = whole[0];
  for (const name of ["reading", "looked", "photo", "add/note"]) await fresh(new URL(`${of}/${name}`, url).href);
  const forms = links(text, /href="(\/cases\/[^/"?#]+\/(?:reading|looked|tests|photo|add\/(?!retract)[a-z]+)(?:\?[^"#]*)?)(?:#[^"]*)?"/g);
  if ((text || "").includes(`href="${of}/inspection"`) && path === of) {
    const walk = await fresh(new URL(`${of}/inspection`, url).href);
    for (const one of links(walk, /href="(\/cases\/[^/"?#]+\/inspection\/(?:begin|(?:read|repaired)\/[a-z0-9_]+))"/g).slice(0, 24)) await fresh(one);
  }
  for (const one of forms.filter((form) => new URL(form).pathname.startsWith(`${of}/`)).slice(0, 40)) await fresh(one);
}

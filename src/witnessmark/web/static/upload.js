// Sends a recording in pieces: goes on where it stopped after a dropped link, a reload or a restart
// of the shop's machine, and the digest of all bytes is checked at the end.
(() => {
  "use strict";
  const form = document.getElementById("upload");
  if (!form || !window.WmSha256) return;
  const PIECE = 1 << 20;
  const file = form.querySelector("input[type=file]");
  const box = document.getElementById("upload-progress");
  const meter = box.querySelector("progress");
  const words = box.querySelector("p");
  const stop = box.querySelector("button");
  const headers = { "x-witnessmark": "upload", accept: "application/json" };
  let cancelled = false, current = null;
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const keyOf = (f) => `wm.upload.${form.dataset.case}.${f.name}.${f.size}.${f.lastModified}`;

  async function ask(url, options = {}) {
    for (let wait = 500; ; wait = Math.min(wait * 2, 8000)) {
      if (cancelled) throw new Error("cancelled");
      try {
        const response = await fetch(url, { ...options, headers: { ...headers, ...options.headers }, credentials: "same-origin" });
        if (response.status < 500) return response;
      } catch { /* the link is down */ }
      words.textContent = "The link is down. Goes on by itself when it is back.";
      await pause(wait);
    }
  }
  async function refusal(response) {
    const found = await response.json().catch(() => ({}));
    return new Error(`${found.what || "It was refused."} ${found.do || ""}`);
  }
  async function begin(f) {
    const known = localStorage.getItem(keyOf(f));
    if (known) {
      const response = await ask(`/uploads/${known}`);
      if (response.ok) return response.json();
    }
    const response = await ask("/uploads", { method: "POST", body: JSON.stringify({ case: form.dataset.case, name: f.name, size: f.size }), headers: { "content-type": "application/json" } });
    if (!response.ok) throw await refusal(response);
    const made = await response.json();
    localStorage.setItem(keyOf(f), made.id);
    return made;
  }
  async function send(f) {
    let state = await begin(f);
    current = state.id;
    const hash = new window.WmSha256();
    const started = performance.now();
    let sent = 0, at = 0;
    while (at < f.size) {
      const piece = new Uint8Array(await f.slice(at, at + PIECE).arrayBuffer());
      hash.update(piece);
      if (at + piece.length > state.received) {
        const response = await ask(`/uploads/${state.id}?offset=${at}`, { method: "PUT", body: piece, headers: { "content-type": "application/octet-stream" } });
        if (!response.ok) throw await refusal(response);
        state = await response.json();
        sent += piece.length;
      }
      at += piece.length;
      meter.value = at / f.size;
      const rate = sent / Math.max((performance.now() - started) / 1000, 0.1);
      const left = rate > 0 ? (f.size - at) / rate : 0;
      words.textContent = `${(100 * at / f.size).toFixed(0)} % of ${(f.size / 1048576).toFixed(1)} MB${left > 2 ? `, about ${left.toFixed(0)} s left` : ""}`;
    }
    words.textContent = "Checking every byte.";
    const fields = { sha256: hash.hex(), entry_id: form.elements.entry_id.value, holds: new FormData(form).get("holds") || "", case: form.dataset.case };
    const response = await ask(`/uploads/${state.id}/finish`, { method: "POST", body: JSON.stringify(fields), headers: { "content-type": "application/json" } });
    localStorage.removeItem(keyOf(f));
    if (!response.ok) throw await refusal(response);
    return response.json();
  }
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const f = file.files[0];
    if (!f) return;
    cancelled = false;
    box.hidden = false;
    form.querySelector("button.go").disabled = true;
    try {
      const done = await send(f);
      words.textContent = "The whole file is here, every byte checked.";
      location.assign(done.next);
    } catch (error) {
      words.textContent = cancelled ? "Stopped. Nothing was stored." : error.message;
      form.querySelector("button.go").disabled = false;
    }
  });
  stop.addEventListener("click", async () => {
    cancelled = true;
    if (file.files[0]) localStorage.removeItem(keyOf(file.files[0]));
    if (current) await fetch(`/uploads/${current}`, { method: "DELETE", headers, credentials: "same-origin" }).catch(() => {});
  });
})();

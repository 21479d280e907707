// Records the phone's own motion sensor. Where the browser does not give it, the page says so and
// a file can be sent instead.
(() => {
  "use strict";
  const box = document.getElementById("shake");
  if (!box) return;
  const words = box.querySelector("p"), start = box.querySelector("button"), level = box.querySelector("progress");
  const form = document.getElementById("upload");
  let rows = [], running = false, began = null;
  if (!("DeviceMotionEvent" in window) || !window.isSecureContext) {
    words.textContent = "This browser does not give the motion sensor" + (window.isSecureContext ? "." : " without HTTPS.") + " Record with any app that writes a table and send the file below.";
    start.disabled = true;
    return;
  }
  function sample(event) {
    const a = event.accelerationIncludingGravity;
    if (!a || a.x === null) return;
    if (began === null) began = event.timeStamp;
    rows.push([(event.timeStamp - began) / 1000, a.x, a.y, a.z]);
    level.value = Math.min(Math.hypot(a.x, a.y, a.z) / 20, 1);
    if (rows.length % 50 === 0) words.textContent = `${rows.at(-1)[0].toFixed(0)} s, ${(rows.length / Math.max(rows.at(-1)[0], 0.1)).toFixed(0)} samples a second. Hard against the rail, not in the hand.`;
  }
  function finish() {
    window.removeEventListener("devicemotion", sample);
    running = false; start.textContent = "Record again";
    if (rows.length < 100) { words.textContent = "The sensor gave nothing. Send a file instead."; return; }
    const rate = rows.length / rows.at(-1)[0];
    const text = "time_s,acceleration_x_m_s2,acceleration_y_m_s2,acceleration_z_m_s2\n" + rows.map((r) => `${r[0].toFixed(4)},${r[1].toFixed(4)},${r[2].toFixed(4)},${r[3].toFixed(4)}`).join("\n") + "\n";
    const file = new File([text], `phone-vibration-${new Date().toISOString().slice(0, 19).replaceAll(":", "")}.csv`, { type: "text/csv" });
    const carry = new DataTransfer();
    carry.items.add(file);
    form.querySelector("input[type=file]").files = carry.files;
    const holds = form.querySelector("input[name=holds][value=vibration]");
    if (holds) holds.checked = true;
    words.textContent = `${rows.length} samples, ${rate.toFixed(0)} a second: it can show up to about ${(rate / 2.5).toFixed(0)} Hz; what is faster folds back and looks slower. Now send it.`;
    form.querySelector("button.go").focus();
  }
  start.addEventListener("click", async () => {
    if (running) { finish(); return; }
    try {
      if (typeof DeviceMotionEvent.requestPermission === "function" && (await DeviceMotionEvent.requestPermission()) !== "granted") throw new Error("no");
    } catch { words.textContent = "The motion sensor was not allowed. Send a file instead."; return; }
    rows = []; began = null; running = true;
    start.textContent = "Stop";
    words.textContent = "Recording.";
    window.addEventListener("devicemotion", sample);
    setTimeout(() => { if (running && !rows.length) { finish(); } }, 3000);
  });
})();

// The drive on a tablet in the cab: figures as they are heard, and the words spoken once each.
(() => {
  "use strict";
  const box = document.getElementById("drive");
  if (!box || !window.EventSource) return;
  const at = (id) => document.getElementById(`drive-${id}`);
  const speak = at("speak");
  let aloud = false, said = "", stopped = 0;
  function tell(words, urgent) {
    if (!aloud || !words || !window.speechSynthesis) return;
    // What must be heard at once cuts off what is being said.
    if (urgent) speechSynthesis.cancel();
    speechSynthesis.speak(new SpeechSynthesisUtterance(words));
  }
  if (speak && "speechSynthesis" in window) {
    speak.hidden = false;
    speak.addEventListener("click", () => {
      aloud = !aloud;
      speak.textContent = aloud ? "Be silent" : "Speak";
      if (aloud) tell(at("stop").hidden ? at("next").textContent : at("stop").textContent, false);
      else speechSynthesis.cancel();
    });
  }
  function line(name, text, kind) {
    const made = document.createElement(name);
    made.textContent = text;
    if (kind) made.className = kind;
    return made;
  }
  function show(now) {
    at("stop").hidden = !now.stop;
    if (at("stop").textContent !== now.stop) at("stop").textContent = now.stop;
    if (at("next").textContent !== now.next) at("next").textContent = now.next;
    at("time").textContent = `${now.seconds} s recorded.`;
    at("note").textContent = now.note;
    at("bigs").replaceChildren(...now.big.map((b) => {
      const one = line("div", "", `fig ${b.word}`);
      one.append(line("span", b.name[0].toUpperCase() + b.name.slice(1)), line("b", b.figure), line("span", b.unit), line("small", b.band || "no band known"));
      return one;
    }));
    at("points").replaceChildren(...now.points.map((p) => line("li", `${p.done ? "Done" : p.barred ? "Not to be driven" : "Open"}: ${p.words}`, p.done ? "done" : "")));
    // A stop is said again every ten seconds while it stands; the rest once.
    if (now.stop) {
      if (Date.now() - stopped > 10e3) { stopped = Date.now(); tell(now.stop, true); }
    } else {
      stopped = 0;
      if (now.next !== said) tell(now.next, false);
    }
    said = now.next;
  }
  const source = new EventSource(box.dataset.events);
  let was = false;
  source.onmessage = (event) => {
    const now = JSON.parse(event.data);
    if (now.big.length) show(now);
    if (was && !now.running) { source.close(); location.reload(); }
    was = now.running;
  };
  source.onerror = () => { at("note").textContent = "This tablet does not hear the recorder; it goes on recording."; };
  window.addEventListener("pagehide", () => source.close());
})();

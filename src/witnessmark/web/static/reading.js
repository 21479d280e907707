// Big keys for one hand, so that the phone's own keyboard need not cover the page.
(() => {
  "use strict";
  const dial = document.getElementById("dial");
  const keys = document.getElementById("keys");
  const form = document.getElementById("reading");
  if (!dial || !keys || !form) return;
  if (!window.matchMedia("(pointer: coarse)").matches) return;
  // By touch the page's own keys are used; a double tap on the field brings the device's keyboard.
  dial.setAttribute("inputmode", "none");
  dial.addEventListener("dblclick", () => {
    dial.setAttribute("inputmode", "decimal");
    keys.hidden = true;
  });
  const put = (text) => {
    if (text === "back") dial.value = dial.value.slice(0, -1);
    else if (dial.value.length < 12) dial.value += text;
    dial.dispatchEvent(new Event("input", { bubbles: true }));
  };
  for (const [text, words] of [["1"], ["2"], ["3"], ["back", "⌫"], ["4"], ["5"], ["6"], ["."], ["7"], ["8"], ["9"], ["0"]]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words || text;
    if (text === "back") button.setAttribute("aria-label", "Delete the last digit");
    if (text === ".") button.setAttribute("aria-label", "Decimal point");
    button.addEventListener("click", () => put(text));
    keys.append(button);
  }
  keys.hidden = false;
  const seen = () => dial.scrollIntoView({ block: "nearest" });
  if (form.dataset.signed !== "yes") { seen(); return; }
  const minus = document.createElement("button");
  minus.type = "button";
  minus.textContent = "Plus or minus";
  minus.className = "plain";
  minus.addEventListener("click", () => {
    dial.value = dial.value.startsWith("-") ? dial.value.slice(1) : "-" + dial.value;
    dial.dispatchEvent(new Event("input", { bubbles: true }));
  });
  keys.append(minus);
  seen();
})();

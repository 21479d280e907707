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
    const said = dial.value;
    if (text === "back") dial.value = said.replace(/(?: to |swings |about |.)$/, "");
    else if (text === "empty") dial.value = "";
    else if (text === " to ") dial.value = said && !said.includes(" to ") ? said + text : said;
    else if (/^[a-z]/.test(text)) {
      // What the pointer did stands before the figure; a second touch takes it away.
      const plain = said.replace(/^(?:swings|about) /, "");
      dial.value = said.startsWith(text) ? plain : text + plain;
    } else if (said.length < 24) dial.value += text;
    dial.classList.toggle("long", dial.value.length > 9);
    dial.dispatchEvent(new Event("input", { bubbles: true }));
  };
  // A rule is read in fractions; a pointer may swing.
  const more = form.dataset.keys === "fractions" ? [[" ", "and"], ["/"], ["empty", "clear"]] : [[" to ", "to"], ["swings ", "swings"], ["about ", "about"]];
  for (const [text, words] of [["1"], ["2"], ["3"], ["back", "⌫"], ["4"], ["5"], ["6"], ["."], ["7"], ["8"], ["9"], ["0"], ...more]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words || text;
    if (text === "back") button.setAttribute("aria-label", "Delete the last digit");
    if (/[a-z /]/.test(text) && text !== "back") button.className = "word";
    if (text === " ") button.setAttribute("aria-label", "and a fraction");
    if (text === "/") button.setAttribute("aria-label", "over");
    if (text === ".") button.setAttribute("aria-label", "Decimal point");
    button.addEventListener("click", () => put(text));
    keys.append(button);
  }
  keys.hidden = false;
  const seen = () => dial.scrollIntoView({ block: "nearest" });
  if (form.dataset.signed !== "yes") { seen(); return; }
  const minus = document.createElement("button");
  minus.type = "button";
  minus.textContent = "+ / −";
  minus.setAttribute("aria-label", "Plus or minus");
  minus.className = "word";
  minus.addEventListener("click", () => {
    dial.value = dial.value.startsWith("-") ? dial.value.slice(1) : "-" + dial.value;
    dial.dispatchEvent(new Event("input", { bubbles: true }));
  });
  keys.append(minus);
  keys.classList.add("signed");
  seen();
})();

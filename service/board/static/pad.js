// Number keys as large as a gloved thumb: they fill the number that was touched last. On a screen
// that is touched they stand in for the telephone's own keyboard, which would hide half the form.
"use strict";
(() => {
  const pad = document.querySelector("[data-pad]");
  const touched = matchMedia("(pointer: coarse)").matches;
  const numbers = () =>
    [...document.querySelectorAll("main form input.count")].filter((one) => one.offsetParent);
  let now = null;
  // The first key replaces what the number held before.
  let fresh = true;
  const choose = (input) => {
    if (now) now.classList.remove("now");
    fresh = fresh || now !== input;
    now = input;
    if (now) now.classList.add("now");
  };
  if (pad && touched) {
    pad.hidden = false;
    for (const input of document.querySelectorAll("main form input.count")) {
      input.inputMode = "none";
    }
  }
  document.addEventListener("focusin", (event) => {
    if (event.target.matches("input.count")) choose(event.target);
  });
  if (pad) {
    // The field keeps the focus, so that nothing jumps.
    pad.addEventListener("pointerdown", (event) => event.preventDefault());
    pad.addEventListener("click", (event) => {
      const key = event.target.dataset.key;
      if (!key) return;
      const all = numbers();
      if (!now) choose(all[0]);
      if (!now) return;
      if (key === "next") {
        choose(all[(all.indexOf(now) + 1) % all.length]);
        now.focus();
        return;
      }
      if (key === "back") now.value = now.value.slice(0, -1);
      else if (fresh) now.value = key;
      else if (now.value.length < now.maxLength) now.value += key;
      fresh = false;
      now.scrollIntoView({ block: "nearest" });
      now.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
  // The first number is ready to be typed.
  const first = numbers()[0];
  if (first && !document.querySelector("main [aria-invalid]")) {
    first.focus({ preventScroll: true });
    first.select();
  }
})();

// Finding, and where one is. The page is whole without it.
"use strict";
const nav = document.querySelector("nav");
const label = document.getElementById("find");
const input = label.querySelector("input");
const lists = [...nav.querySelectorAll("ul")].map((list) => ({
  head: list.previousElementSibling,
  entries: [...list.children].map((entry) => {
    const aim = document.getElementById(entry.firstElementChild.hash.slice(1));
    const title = aim ? aim.querySelector("h3").textContent : "";
    return { entry, words: (entry.textContent + " " + title).toLowerCase() };
  }),
}));

function find() {
  const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const { head, entries } of lists) {
    let shown = 0;
    for (const { entry, words: held } of entries) {
      entry.hidden = !words.every((word) => held.includes(word));
      shown += entry.hidden ? 0 : 1;
    }
    head.hidden = shown === 0;
  }
}

function mark() {
  for (const link of nav.querySelectorAll("[aria-current]")) link.removeAttribute("aria-current");
  const here = location.hash && nav.querySelector(`li a[href="${CSS.escape(location.hash).replace("\\#", "#")}"]`);
  if (here) here.setAttribute("aria-current", "true");
}

label.hidden = false;
input.addEventListener("input", find);
addEventListener("hashchange", mark);
addEventListener("keydown", (event) => {
  if (event.key === "/" && document.activeElement !== input) {
    event.preventDefault();
    input.focus();
  }
});
mark();

// The page of what this device keeps: each entry with its words, its fields, and what can be done.
"use strict";
(function (graftlog) {
  const { queue } = graftlog;
  const card = document.getElementById("entry-card");

  function fill(one) {
    const made = card.content.cloneNode(true).querySelector("article");
    const part = (name) => made.querySelector(`[data-part=${name}]`);
    made.dataset.entry = one.entry;
    made.querySelector("h3").textContent = one.title;
    part("made").textContent = graftlog.when(one.made);
    if (one.state === "refused") part("words").append(...graftlog.reasons(one));
    else part("words").textContent = one.words || "";
    for (const [name, value] of one.fields) {
      // What has no label was not typed.
      if (!value || !one.labels?.[name]) continue;
      const pair = document.createElement("div");
      for (const [tag, text] of [["dt", one.labels[name]], ["dd", value]]) {
        pair.appendChild(document.createElement(tag)).textContent = text;
      }
      made.querySelector("dl").append(pair);
    }
    const loose = queue.loose(one);
    part("put-right").href = `${one.page}#put-right=${one.entry}`;
    part("put-right").hidden = !loose;
    part("aside").hidden = !loose;
    part("back").hidden = one.state !== "aside";
    part("unsure").hidden = !(one.state === "waiting" && one.tried);
    part("aside").onclick = () => queue.aside(one.entry);
    part("back").onclick = () => queue.back(one.entry).then(graftlog.send);
    return made;
  }

  function show(event) {
    const mine = event.detail.filter((one) => one.person === graftlog.person());
    for (const state of ["refused", "waiting", "done", "aside"]) {
      const section = document.getElementById(`part-${state}`);
      const entries = mine.filter((one) => one.state === state);
      section.hidden = !entries.length;
      section.querySelector(".entries").replaceChildren(...entries.reverse().map(fill));
    }
    document.getElementById("nothing-waits").hidden = mine.length > 0;
  }

  document.addEventListener("entries", show);
  document.getElementById("send-now").onclick = () => graftlog.send();
  graftlog.showCounts();
})(self.graftlog);

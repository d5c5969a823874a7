// Names the pages that are on the device, the newest first.
"use strict";
(async function () {
  const list = document.getElementById("kept-pages");
  const pages = await caches.open("pages");
  const keys = (await pages.keys()).reverse();
  for (const key of keys) {
    const url = new URL(key.url);
    // Forms are reached from their table; this page is what tells of the others.
    if (/^\/(table\/[^/]+\/|waiting$)/.test(url.pathname)) continue;
    const text = await (await pages.match(key)).text();
    const kept = Number(/<html data-kept="(\d+)"/.exec(text)?.[1]);
    if (!kept) continue;
    const read = new DOMParser().parseFromString(text, "text/html");
    const link = document.createElement("a");
    link.href = url.pathname + url.search;
    const title = document.createElement("strong");
    title.textContent = read.title.replace(/ · graftlog$/, "");
    link.append(title, graftlog.when(kept));
    const item = document.createElement("li");
    item.append(link);
    list.append(item);
  }
  document.getElementById("no-kept-pages").hidden = list.children.length > 0;
  document.getElementById("try-again").href = location.pathname + location.search;
})();

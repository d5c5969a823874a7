// The service worker: pages that were opened can be read without a connection, as they were then;
// what waits is sent when there is one again. The server puts FILES and QUEUE before this.
"use strict";
importScripts(QUEUE);
const PAGES = "pages";
const STATIC = "files";
const OFFLINE = "/offline";
const OWNER = "/device/owner";
// Pages and files are asked for with other headers than those they were kept with.
const ANY = { ignoreVary: true };
const MOST_PAGES = 500;
const MOST_FILES = 120; // with those that pages of an earlier version name
const PATIENCE = 5000; // milliseconds before a page that is kept is shown instead
const FRESH = 15 * 60000; // a page kept ahead is not fetched again before,
const FRESH_FORM = 3 * 3600000; // nor one of its forms
const FORM = /^\/table\/[^/]+\/[a-z-]+$/;
// Never kept: secrets, other people's names, and what is no page.
const NOT_KEPT = /^\/(sign-in|sign-out|i|me|people|mail|calendar|v1|device|docs|offline)(\/|$)|\.(pdf|csv|svg|ics)$/;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    await (await caches.open(STATIC)).addAll([...FILES, OFFLINE]);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await thin(await caches.open(STATIC), MOST_FILES);
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === "/sign-out") event.respondWith(signOut(request));
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(page(event, url));
  else if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
});

self.addEventListener("sync", (event) => {
  if (event.tag === "entries") event.waitUntil(sendOrAgain());
});

self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil(keepAhead(event.data.keep));
});

// The browser tries again by itself when this fails.
async function sendOrAgain() {
  if ((await graftlog.queue.send()) === "later") throw new Error("no connection");
}

// The address names the content, so a copy is never old.
async function file(request) {
  const files = await caches.open(STATIC);
  const copy = await files.match(request, ANY);
  if (copy) return copy;
  const answer = await fetch(request);
  if (answer.ok) await files.put(request, answer.clone());
  return answer;
}

// The newest entries of a cache are its last.
async function thin(cache, most) {
  const keys = await cache.keys();
  await Promise.all(keys.slice(0, Math.max(0, keys.length - most)).map((key) => cache.delete(key)));
}

// -- pages -------------------------------------------------------------------------------

const keyOf = (url) => url.pathname + url.search;

// What is kept of an address: itself; a table's form with nothing chosen; what a tag's code names.
async function copyOf(url) {
  if (NOT_KEPT.test(url.pathname)) return null;
  const pages = await caches.open(PAGES);
  const exact = await pages.match(keyOf(url), ANY);
  if (exact) return exact;
  if (FORM.test(url.pathname)) return pages.match(url.pathname, ANY);
  const code = url.pathname.startsWith("/t/") ? decoded(url.pathname.slice(3))
    : url.pathname === "/find" ? url.searchParams.get("q") : null;
  for (const kind of code ? ["table", "lot", "bag"] : []) {
    const address = `/${kind}/${encodeURIComponent(code.trim().toUpperCase())}`;
    if (await pages.match(address, ANY)) return Response.redirect(address);
  }
  return null;
}

// An address with what is no text has no copy, and comes from the service all the same.
function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return null;
  }
}

async function page(event, url) {
  const asked = fetch(event.request);
  event.waitUntil(asked.then((answer) => store(url, answer.clone())).catch(() => null));
  const copy = await copyOf(url);
  try {
    const answer = await (copy ? inTime(asked) : asked);
    return copy && [502, 503, 504].includes(answer.status) ? copy : answer;
  } catch {
    return copy || (await caches.match(OFFLINE, ANY)) || Response.error();
  }
}

function inTime(asked) {
  return Promise.race([asked, new Promise((_, late) => setTimeout(() => late(new Error("late")), PATIENCE))]);
}

// Keeps a copy that knows when it was kept. Pages are of one person: another's are thrown away.
async function store(url, answer) {
  const html = (answer.headers.get("content-type") || "").startsWith("text/html");
  if (answer.type === "opaqueredirect" || !html) return;
  const text = await answer.text();
  const person = /<body[^>]* data-person="([^"]*)"/.exec(text)?.[1];
  if (person === undefined) return; // no page of ours: a hotspot's, a proxy's
  if (!person) {
    // Sent to sign in: the session ended or was taken away, so what was read goes too.
    if (url.pathname === "/sign-in") await caches.delete(PAGES);
    return;
  }
  const pages = await owned(person);
  if (answer.status !== 200 || NOT_KEPT.test(url.pathname)) {
    if ([403, 404, 410].includes(answer.status)) await pages.delete(keyOf(url));
    return;
  }
  if (url.searchParams.has("done")) {
    // Told once, of an entry just made: the page itself is kept instead, as it is now.
    await keepOne(new URL(url.pathname, url), 0);
    return;
  }
  const dated = text.replace("<html", `<html data-kept="${Date.now()}"`)
    .replace(/<p class="said"[^]*?<\/p>/, "");
  const headers = new Headers(answer.headers);
  headers.delete("content-encoding");
  headers.delete("content-length");
  await pages.delete(keyOf(url)); // so that the newest are last
  await pages.put(keyOf(url), new Response(dated, { headers }));
  await thin(pages, MOST_PAGES);
}

// The cache of pages, told whose they are; the owner's note is the last, so it is not thinned out.
async function owned(person) {
  let pages = await caches.open(PAGES);
  const owner = await (await pages.match(OWNER, ANY))?.text();
  if (owner !== undefined && owner !== person) {
    await caches.delete(PAGES);
    pages = await caches.open(PAGES);
  }
  await pages.delete(OWNER);
  await pages.put(OWNER, new Response(person));
  return pages;
}

async function signOut(request) {
  const answer = await fetch(request);
  if (answer.type === "opaqueredirect" || answer.ok) await caches.delete(PAGES);
  return answer;
}

async function keepAhead(addresses) {
  for (const address of addresses) {
    const url = new URL(address, self.location.origin);
    const text = await keepOne(url, FORM.test(url.pathname) ? FRESH_FORM : FRESH);
    if (text === null) return;
    // What is done at a table needs its forms too.
    const forms = [...(text || "").matchAll(/href="(\/table\/[^/"?]+\/[a-z-]+)[?"]/g)].map((found) => found[1]);
    for (const form of new Set(forms)) {
      if ((await keepOne(new URL(form, url), FRESH_FORM)) === null) return;
    }
  }
}

// Fetches and keeps a page that is not kept or older than `fresh` milliseconds. Gives its text;
// null: there is no connection.
async function keepOne(url, fresh) {
  if (url.origin !== self.location.origin || NOT_KEPT.test(url.pathname)) return "";
  const copy = await (await caches.open(PAGES)).match(keyOf(url), ANY);
  const kept = copy ? await copy.text() : "";
  if (Date.now() - (Number(/data-kept="(\d+)"/.exec(kept)?.[1]) || 0) < fresh) return kept;
  const answer = await fetch(url, { credentials: "same-origin", redirect: "manual" }).catch(() => null);
  if (!answer) return null;
  if (answer.type === "opaqueredirect") return "";
  const text = answer.clone().text();
  await store(url, answer);
  return text;
}

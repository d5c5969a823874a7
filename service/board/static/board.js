// What a page does on a device: keeps what is typed, sends it, says what became of it and how old
// the page is. Everything works without it as plain forms, only not without a connection.
"use strict";
(function (graftlog) {
  const device = document.getElementById("device");
  if (!device) return;
  const words = device.dataset;
  const queue = graftlog.queue;
  const QUICK = 4000; // milliseconds that a person waits for a verdict before going on
  const RETRY = 30000;
  const loadedAt = Date.now();

  graftlog.person = () => document.body.dataset.person || "";
  graftlog.say = (text, values = {}) =>
    Object.entries(values).reduce((said, [name, value]) => said.replace(`{${name}}`, value), text);

  // -- ids and the clock -----------------------------------------------------------------

  // UUIDv7 (RFC 9562): sorted by when it was typed.
  graftlog.newId = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    let now = Date.now();
    for (let index = 5; index >= 0; index--) { bytes[index] = now % 256; now = Math.floor(now / 256); }
    bytes[6] = (bytes[6] & 15) | 112;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  };
  graftlog.entryOf = (form) => form.elements.entry.value;
  graftlog.setEntry = (form, entry) => { form.elements.entry.value = entry; };

  const kept = Number(document.documentElement.dataset.kept) || 0;

  // How far this device's clock is off, in milliseconds, learned from pages that came fresh. It is
  // kept while it is about right: a slow page must not turn the order of two entries round.
  const MINUTE = 60000;
  function skew() {
    try { return Number(localStorage.getItem("skew")) || 0; } catch { return 0; }
  }
  function learnSkew() {
    const told = Date.parse(document.querySelector("meta[name=known-at]")?.content || "");
    if (kept || Number.isNaN(told)) return;
    const seen = Math.round(told - performance.timeOrigin);
    if (Math.abs(seen - skew()) < MINUTE) return;
    try { localStorage.setItem("skew", String(seen)); } catch { /* the device's own clock then */ }
  }
  const now = () => new Date(Date.now() + (Math.abs(skew()) > MINUTE ? skew() : 0));
  const moment = () => now().toISOString().replace(/\.\d+Z$/, "Z");

  // -- what is shown -----------------------------------------------------------------------

  const at = (name) => device.querySelector(`[data-part=${name}]`);

  function said(text) {
    at("said").textContent = text;
    at("said").hidden = !text;
    shown();
  }
  function shown() {
    device.hidden = [...device.querySelectorAll("[data-part]")].every((part) => part.hidden);
  }

  async function showCounts() {
    const entries = await queue.all().catch(() => []);
    const person = graftlog.person();
    const mine = entries.filter((one) => one.person === person);
    const count = (state) => mine.filter((one) => one.state === state).length;
    const others = entries.filter((one) => one.person !== person && ["waiting", "refused"].includes(one.state));
    const waiting = count("waiting"), refused = count("refused");
    const parts = [];
    if (waiting) parts.push(graftlog.say(words.waiting, { n: waiting }));
    if (refused) parts.push(graftlog.say(words.refused, { n: refused }));
    if (!parts.length && others.length) parts.push(graftlog.say(words.others, { n: others.length }));
    at("counts").textContent = parts.join(" · ");
    at("counts").hidden = at("counts-line").hidden = !parts.length;
    at("counts").classList.toggle("trouble", refused > 0);
    at("sign-in").hidden = !(waiting && signedOut);
    shown();
    document.dispatchEvent(new CustomEvent("entries", { detail: entries }));
    return { waiting, refused };
  }

  function showAge() {
    const minutes = Math.floor((Date.now() - (kept || loadedAt)) / 60000);
    const tell = kept > 0 || minutes >= 5;
    const units = minutes < 60 ? [minutes, "minute"] : minutes < 2880
      ? [Math.floor(minutes / 60), "hour"] : [Math.floor(minutes / 1440), "day"];
    const ago = new Intl.RelativeTimeFormat(document.documentElement.lang, { numeric: "auto" }).format(-units[0], units[1]);
    at("age").textContent = tell ? graftlog.say(words.age, { ago }) : "";
    at("age").hidden = !tell;
    shown();
  }

  // -- sending -----------------------------------------------------------------------------

  let signedOut = false;

  async function send() {
    const outcome = await queue.sendNow().catch(() => "later");
    signedOut = outcome === "who" || (outcome === "sent" && (await waits()));
    await showCounts();
    return outcome;
  }
  async function waits() {
    const entries = await queue.all().catch(() => []);
    return entries.some((one) => one.state === "waiting" && one.person === graftlog.person());
  }
  async function sendIfWaiting() {
    if (navigator.onLine && (await waits())) await send();
  }

  // The browser wakes the worker when there is a connection again, also with the page closed.
  async function askForSync() {
    try { await (await navigator.serviceWorker.ready).sync.register("entries"); } catch { /* not every browser */ }
  }

  const within = (work, time) => Promise.race([work, new Promise((go) => setTimeout(go, time))]);

  // -- forms -------------------------------------------------------------------------------

  function fieldsOf(form, submitter) {
    const moments = form.querySelectorAll("input[data-now]");
    moments.forEach((one) => { one.value = moment(); });
    const data = new FormData(form);
    if (submitter?.name) data.append(submitter.name, submitter.value);
    return [...data].filter(([name, value]) => name !== "csrf" && typeof value === "string");
  }

  // What the fields are called on the page, for who looks at the entry later.
  function labelsOf(form) {
    const text = (one) => one.textContent.replace(/\s+/g, " ").trim();
    const told = (one) => (one.getAttribute("aria-labelledby") || "").split(" ").filter(Boolean)
      .map((id) => text(document.getElementById(id))).reverse().join(" · ");
    const named = [...form.elements].filter((one) => one.name && one.type !== "hidden");
    return Object.fromEntries(named.map((one) => [one.name, one.labels?.length ? text(one.labels[0]) : told(one)]));
  }

  // What was kept last of a form, so that the second of a double tap is no entry of its own.
  const DOUBLE = 1000;
  const settledAt = new WeakMap();

  async function submit(event) {
    const form = event.target.closest("form[data-entry]");
    if (!form || event.defaultPrevented) return;
    event.preventDefault();
    if (form.getAttribute("aria-busy") || Date.now() - (settledAt.get(form) || 0) < DOUBLE) return;
    form.setAttribute("aria-busy", "true");
    const one = await keep(form, event.submitter).finally(() => form.removeAttribute("aria-busy"));
    if (!one) return;
    if (navigator.onLine) await within(send(), QUICK);
    await tell(form, one.entry);
  }

  // From here on the entry is safe and the form free for the next. Gives the entry, if it was kept.
  async function keep(form, submitter) {
    const address = submitter?.hasAttribute("formaction") ? submitter.formAction : form.action;
    const one = {
      entry: graftlog.entryOf(form), person: graftlog.person(),
      action: new URL(address).pathname + new URL(address).search,
      page: location.pathname + location.search, title: form.dataset.title || document.title,
      fields: fieldsOf(form, submitter), labels: labelsOf(form), made: Date.now(),
    };
    try {
      if (!(await queue.keep(one))) { said(words.unsure); return null; }
    } catch {
      // This browser keeps nothing: as a plain form then, while there is a connection.
      if (navigator.onLine) form.submit(); else said(words.notKept);
      return null;
    }
    graftlog.drafts.clear(form);
    refusal(form, null);
    said("");
    settledAt.set(form, Date.now());
    if (form.dataset.entry !== "stays") form.reset();
    graftlog.setEntry(form, graftlog.newId());
    form.dispatchEvent(new CustomEvent("kept"));
    askForSync();
    navigator.storage?.persist?.().catch(() => false);
    return one;
  }

  // Says what became of an entry where it was typed, unless the next is being typed there already.
  async function tell(form, entry) {
    const one = await queue.find(entry);
    await showCounts();
    const free = form.dataset.entry === "stays" || !graftlog.drafts.changed(form).length;
    if (one.state === "waiting") {
      said(graftlog.say(signedOut ? words.keptSignedOut : words.kept, { what: one.title }));
    } else if (!free) {
      said(`${one.title}: ${one.words}`);
    } else if (one.state === "refused") {
      showRefused(form, one);
    } else if (form.dispatchEvent(new CustomEvent("verdict", { detail: one, cancelable: true }))) {
      goOn(one);
    }
  }

  // A refused entry back in its form, to be changed and sent under its own id.
  function showRefused(form, one) {
    form.dispatchEvent(new CustomEvent("fill", { detail: one.fields }));
    graftlog.drafts.fill(form, one.fields);
    graftlog.setEntry(form, one.entry);
    form.dispatchEvent(new CustomEvent("verdict", { detail: one, cancelable: true }));
    refusal(form, one);
  }

  function goOn(one) {
    try { sessionStorage.setItem("said", one.words); } catch { /* then it is not said */ }
    const next = new URL(one.next || one.page, location.href);
    // Only ever a page of ours.
    const to = next.origin === location.origin ? next.pathname + next.search : one.page;
    if (to === location.pathname + location.search) location.reload(); else location.assign(to);
  }

  // Shows why an entry was refused at the head of its form; the fields stay as they are.
  function refusal(form, one) {
    form.querySelector(".device-refusal")?.remove();
    if (!one) return;
    const box = document.createElement("div");
    box.className = "device-refusal";
    box.setAttribute("role", "alert");
    box.tabIndex = -1;
    box.append(...graftlog.reasons(one));
    form.prepend(box);
    box.focus();
  }

  // The words of a refusal, each with its count if a count would settle it.
  graftlog.reasons = (one) => {
    const told = one.errors.length ? one.errors : [{ words: one.words }];
    return told.map((error) => {
      const line = document.createElement("p");
      // "Here" says nothing at the head of a form: the field's own name does.
      const label = error.kind === "malformed" && one.labels?.[error.field];
      line.textContent = [label && `${label}:`, error.words || one.words, error.settle].filter(Boolean).join(" ");
      if (error.count_form && new URL(error.count_form, location.href).origin === location.origin) {
        const link = document.createElement("a");
        link.href = error.count_form;
        link.className = "button";
        link.textContent = words.bookWrong;
        line.append(" ", link);
      }
      return line;
    });
  };

  // A refused entry that stands open here was recorded elsewhere: after a count, in another tab.
  async function leaveSettled() {
    for (const form of document.querySelectorAll("form[data-entry]")) {
      const one = await queue.find(graftlog.entryOf(form)).catch(() => null);
      if (one?.state === "done") goOn(one);
    }
  }

  // -- when a page opens ---------------------------------------------------------------------

  // A table's form is kept with nothing chosen; what the link to it chose stands in the address.
  function choose(form) {
    const asked = new URLSearchParams(location.search);
    for (const [name, value] of asked) {
      const field = form.elements[name];
      if (field?.type === "text" && !field.value) field.value = value;
    }
    for (const [list, code] of [["row", asked.get("lot")], ["onto", asked.get("liners")]]) {
      const fits = [...form.querySelectorAll(`input[type=radio][name=${list}]`)].filter((one) => {
        const [, lot, stage, size, grade] = one.value.split(":");
        return lot === code && Object.entries({ stage, size, grade })
          .every(([name, has]) => !has || !asked.get(name) || asked.get(name) === has);
      });
      if (fits.length === 1) fits[0].checked = true;
    }
  }

  async function prepare(form) {
    if (kept) choose(form);
    // A page kept for reading holds the same id each time it is opened.
    graftlog.setEntry(form, graftlog.newId());
    const wanted = /^#put-right=([0-9a-f-]{36})$/.exec(location.hash)?.[1];
    const one = wanted && (await queue.find(wanted).catch(() => null));
    const action = form.getAttribute("action");
    if (one && one.person === graftlog.person() && one.action === action && queue.loose(one)) {
      if (one.state === "refused") {
        showRefused(form, one);
      } else {
        graftlog.drafts.fill(form, one.fields);
        graftlog.setEntry(form, one.entry);
      }
    } else if (await graftlog.drafts.restore(form)) {
      said(words.draft);
    }
    for (const event of ["input", "change"]) {
      form.addEventListener(event, () => { settledAt.delete(form); graftlog.drafts.save(form); });
    }
  }

  // -- signing out with something in hand ------------------------------------------------------

  function guardSignOut(event) {
    const form = event.target;
    if (!/\/sign-out$/.test(form.getAttribute?.("action") || "") || form.dataset.sure) return;
    event.preventDefault();
    within(sendIfWaiting(), QUICK).then(showCounts).then(({ waiting, refused }) => {
      const go = () => { form.dataset.sure = "yes"; form.requestSubmit(); };
      if (!(waiting + refused)) { go(); return; }
      const dialog = document.getElementById("device-sign-out");
      dialog.querySelector("[data-part=left]").textContent = graftlog.say(words.left, { n: waiting + refused });
      dialog.onclose = () => { if (dialog.returnValue === "go") go(); };
      dialog.showModal();
    });
  }

  // Pages that a person is likely to want in the greenhouse are kept before they are asked for.
  async function keepAhead() {
    if (kept || !graftlog.person()) return;
    // What waits is looked at without a connection; a first page came before there was a worker.
    const links = ["/waiting", "/find"];
    if (!navigator.serviceWorker.controller) links.push(location.pathname + location.search);
    if (!navigator.connection?.saveData) {
      if (/^\/table\/[^/]+$/.test(location.pathname)) links.push(location.pathname);
      const ahead = [...document.querySelectorAll("a[data-keep]")];
      links.push(...ahead.map((link) => link.pathname + link.search).slice(0, 40));
    }
    (await navigator.serviceWorker.ready).active?.postMessage({ keep: links });
  }

  async function start() {
    learnSkew();
    document.addEventListener("submit", guardSignOut);
    document.addEventListener("submit", submit);
    document.querySelectorAll("form[data-entry]").forEach(prepare);
    new BroadcastChannel(queue.CHANGES).onmessage = () => showCounts().then(leaveSettled);
    window.addEventListener("online", sendIfWaiting);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) { showAge(); sendIfWaiting(); } });
    // Back to a page that was left: its entry is gone, so is its id.
    window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
    setInterval(() => { showAge(); sendIfWaiting(); }, RETRY);
    showAge();
    try {
      const before = sessionStorage.getItem("said");
      sessionStorage.removeItem("said");
      if (before) said(before);
    } catch { /* nothing to say */ }
    await showCounts();
    sendIfWaiting();
    if ("serviceWorker" in navigator) {
      await navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" }).catch(() => null);
      keepAhead();
    }
  }

  // A moment as the pages write it: by 24 hours, the day before its month.
  const lang = document.documentElement.lang;
  const hours = new Intl.DateTimeFormat(lang === "en" ? "en-GB" : lang, {
    weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  });
  graftlog.when = (moment) => hours.format(moment);
  graftlog.send = send;
  graftlog.showCounts = showCounts;
  graftlog.said = said;
  // After the scripts of the page itself, which hear what happens to its forms.
  document.addEventListener("DOMContentLoaded", start);
})(self.graftlog);

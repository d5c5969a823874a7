// What was typed and waits to be sent: kept in the device, sent in order, each under its own id.
// Pages and the service worker share this file, so it touches neither window nor document.
"use strict";
self.graftlog = self.graftlog || {};
(function (graftlog) {
  const STORE = "entries";
  const CHANGES = "graftlog-entries";
  const PATIENCE = 30000; // milliseconds for one request
  const DONE_KEPT = 100; // recorded entries that are still shown

  // -- the store -------------------------------------------------------------------------

  let opened = null;

  function open() {
    opened = opened || new Promise((resolve, reject) => {
      const asked = indexedDB.open("graftlog", 1);
      asked.onupgradeneeded = () => {
        const store = asked.result.createObjectStore(STORE, { keyPath: "seq", autoIncrement: true });
        store.createIndex("entry", "entry", { unique: true });
      };
      asked.onsuccess = () => {
        const db = asked.result;
        // A newer version of the page opens it elsewhere: let it.
        db.onversionchange = () => { db.close(); opened = null; };
        db.onclose = () => { opened = null; };
        resolve(db);
      };
      asked.onerror = asked.onblocked = () => reject(asked.error || new Error("blocked"));
    }).catch((error) => { opened = null; throw error; });
    return opened;
  }

  // Runs `work(store)`; done when what it wrote is on the disk, not before.
  async function inStore(mode, work) {
    const db = await open();
    return new Promise((resolve, reject) => {
      const act = db.transaction(STORE, mode, { durability: "strict" });
      let answer;
      act.oncomplete = () => resolve(answer && "result" in answer ? answer.result : answer);
      act.onerror = act.onabort = () => reject(act.error || new Error("not kept"));
      answer = work(act.objectStore(STORE));
    });
  }

  const all = () => inStore("readonly", (store) => store.getAll());
  const find = (entry) => inStore("readonly", (store) => store.index("entry").get(entry));

  // Writes `news(kept)` over a kept entry, if there is one and `news` gives something. Gives the
  // entry as it is then, else false.
  async function change(entry, news) {
    let changed = false;
    await inStore("readwrite", (store) => {
      const asked = store.index("entry").get(entry);
      asked.onsuccess = () => {
        const more = asked.result && news(asked.result);
        if (more) { changed = { ...asked.result, ...more }; store.put(changed); }
      };
    });
    if (changed) tell();
    return changed;
  }

  function tell() {
    const channel = new BroadcastChannel(CHANGES);
    channel.postMessage("changed");
    channel.close();
  }

  // -- what people do with entries --------------------------------------------------------

  // Only what certainly was not recorded may be changed or put aside: what was sent without an
  // answer may be in the log already.
  const loose = (one) => one.state === "refused" || (one.state === "waiting" && !one.tried);

  const UNSENT = { state: "waiting", tried: false, words: "", errors: [], rows: [] };

  // Keeps a new entry, or what was changed of a refused one. False: it can't be changed now.
  async function keep(one) {
    const before = await find(one.entry);
    if (before) {
      return Boolean(await change(one.entry, (kept) =>
        kept.person === one.person && loose(kept) ? { ...one, ...UNSENT } : null));
    }
    // `add`, never `put`: an entry never takes the place of another.
    await inStore("readwrite", (store) => {
      store.add({ ...one, ...UNSENT });
    });
    tell();
    return true;
  }

  const aside = (entry) => change(entry, (kept) => (loose(kept) ? { state: "aside" } : null));
  const back = (entry) =>
    change(entry, (kept) => (kept.state === "aside" ? { state: "waiting" } : null));

  // -- sending ----------------------------------------------------------------------------

  async function ask(address, options) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const answer = await fetch(address, {
        credentials: "same-origin", cache: "no-store", redirect: "manual", signal: stop.signal,
        ...options,
      });
      const json = /^application\/(problem\+)?json\b/.test(answer.headers.get("content-type") || "");
      return { status: answer.status, moved: answer.type === "opaqueredirect",
               body: json ? await answer.json() : null };
    } catch {
      return null; // no connection, or it broke
    } finally {
      clearTimeout(timer);
    }
  }

  // Who is signed in here now: {person, csrf}; person null: nobody; null: no connection.
  async function who() {
    const answer = await ask("/device/who", { headers: { Accept: "application/json" } });
    if (!answer || !answer.body) return null; // no answer of ours: a hotspot's page, a proxy's error
    if (answer.status === 401) return { person: null };
    return answer.status === 200 && "person" in answer.body ? answer.body : null;
  }

  function post(one, csrf) {
    const body = new URLSearchParams(one.fields);
    // The token is of the asker's session, so what is another person's by now is refused.
    body.set("csrf", csrf);
    return ask(one.action, { method: "POST", body, headers: { Accept: "application/json" } });
  }

  // What an answer means: an object with the verdict, or "later", "skip", "who".
  function understand(one, answer) {
    if (!answer) return "later";
    const { status, body, moved } = answer;
    if (moved || status === 401) return "who";
    if (!body) return "later";
    if (status < 300) {
      const ours = body.entry === one.entry && ["accepted", "known", "refused"].includes(body.verdict);
      return ours ? body : "later";
    }
    if ([408, 425, 429, 502, 503, 504].includes(status)) return "later";
    // A mistake of the service: what comes after it need not wait for it.
    if (status >= 500) return "skip";
    return { verdict: "refused", words: body.words || body.detail || "", errors: [] };
  }

  async function settle(one, said) {
    const recorded = said.verdict !== "refused";
    await change(one.entry, () => ({
      state: recorded ? "done" : "refused", tried: false, words: said.words || "",
      errors: said.errors || [], rows: said.rows || [], next: said.next || "", settled: Date.now(),
    }));
    const again = recorded && one.fields.find(([name]) => name === "again");
    if (again) await change(again[1], (kept) => (kept.state === "refused" ? { state: "waiting" } : null));
  }

  async function sendAll() {
    let asker = await who();
    const passed = new Set();
    let asked = 0;
    while (asker && asker.person) {
      const waiting = (await all()).filter((one) =>
        one.state === "waiting" && one.person === asker.person && !passed.has(one.entry));
      if (!waiting.length) break;
      // As it is now: it may have been changed or put aside since the list was read.
      const one = await change(waiting[0].entry, (kept) =>
        (kept.state === "waiting" && kept.person === asker.person ? { tried: true } : null));
      if (!one) continue;
      const said = understand(one, await post(one, asker.csrf));
      if (said === "later") return "later";
      if (said === "skip") passed.add(one.entry);
      else if (said === "who") {
        // Signed out, or another person signed in, since we asked: once more, then leave it.
        if (asked++) return "who";
        asker = await who();
      } else {
        asked = 0;
        await settle(one, said);
      }
    }
    await forget();
    return asker ? "sent" : "later";
  }

  // Recorded entries are in the log: the oldest need not be shown for ever.
  async function forget() {
    const done = (await all()).filter((one) => one.state === "done");
    const old = done.slice(0, Math.max(0, done.length - DONE_KEPT));
    if (old.length) await inStore("readwrite", (store) => { old.forEach((one) => store.delete(one.seq)); });
  }

  let sending = null;

  // Sends what waits, one sender at a time over all tabs and the worker. "sent": nothing of who is
  // signed in waits; "later": no connection; "who": sign in again.
  function send() {
    sending = sending || alone(sendAll).finally(() => { sending = null; });
    return sending;
  }

  function alone(work) {
    return self.navigator.locks ? navigator.locks.request("graftlog-send", work) : work();
  }

  // An entry kept while a round of sending ends is not overlooked.
  async function sendNow() {
    if (sending) await sending;
    return send();
  }

  graftlog.queue = { all, find, keep, aside, back, send, sendNow, who, loose, CHANGES };
})(self.graftlog);

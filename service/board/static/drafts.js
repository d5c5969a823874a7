// What stands in a form and was not sent: kept while it is typed, brought back when the page is
// opened again. Only what differs from what the page came with, under the person's own name.
"use strict";
(function (graftlog) {
  const prefix = "draft:";

  const key = (form) => [prefix + graftlog.person(), location.pathname, form.getAttribute("action")].join(" ");

  function controls(form) {
    return [...form.elements].filter((one) => one.name && !one.disabled &&
      !["hidden", "submit", "button", "file", "password"].includes(one.type));
  }

  function differs(one) {
    if (one.type === "checkbox" || one.type === "radio") return one.checked !== one.defaultChecked;
    if (one.options) return [...one.options].some((option) => option.selected !== option.defaultSelected)
      && one.value !== first(one);
    return one.value !== one.defaultValue;
  }

  // What a choice shows when nobody has touched it.
  function first(one) {
    const chosen = [...one.options].find((option) => option.defaultSelected) || one.options[0];
    return chosen ? chosen.value : "";
  }

  const stateOf = (one) =>
    (one.type === "checkbox" || one.type === "radio" ? [one.name, one.value, one.checked] : [one.name, one.value]);

  // What differs from what the page came with.
  const changed = (form) => controls(form).filter(differs).map(stateOf);

  function save(form) {
    const typed = changed(form);
    try {
      if (typed.length) {
        const kept = { entry: graftlog.entryOf(form), typed };
        localStorage.setItem(key(form), JSON.stringify(kept));
      } else {
        localStorage.removeItem(key(form));
      }
    } catch { /* no room or not allowed: the form itself still holds it */ }
  }

  function clear(form) {
    try { localStorage.removeItem(key(form)); } catch { /* as above */ }
  }

  function read(form) {
    try { return JSON.parse(localStorage.getItem(key(form))); } catch { return null; }
  }

  // Fills controls from [name, value, checked?] lists; several of one name in their order.
  function fill(form, values) {
    const used = new Map();
    for (const [name, value, checked] of values) {
      const same = controls(form).filter((one) => one.name === name);
      const box = same.find((one) => ["checkbox", "radio"].includes(one.type) && one.value === value);
      if (box) { box.checked = checked !== false; continue; }
      const index = used.get(name) || 0;
      used.set(name, index + 1);
      if (same[index] && !["checkbox", "radio"].includes(same[index].type)) same[index].value = value;
    }
    form.dispatchEvent(new CustomEvent("filled"));
  }

  // Brings back what was typed, unless it was kept as an entry in the moment the page died.
  async function restore(form) {
    const kept = read(form);
    if (!kept) return false;
    if (await graftlog.queue.find(kept.entry).catch(() => null)) { clear(form); return false; }
    form.dispatchEvent(new CustomEvent("fill", { detail: kept.typed }));
    fill(form, kept.typed);
    graftlog.setEntry(form, kept.entry);
    return true;
  }

  graftlog.drafts = { changed, save, clear, restore, fill };
})(self.graftlog);

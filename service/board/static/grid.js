// A sheet typed in from paper: the keys of a spreadsheet, pasting, sums, a verdict for each row.
"use strict";
(function (graftlog) {
  const form = document.querySelector("form[data-grid]");
  if (!form) return;
  const body = form.querySelector("table.grid tbody");
  const rows = () => [...body.querySelectorAll("tr[data-row]")];
  const cells = (row) => [...row.querySelectorAll("td input:not([type=checkbox]), td select")];
  const cellAt = (row, column) => cells(rows()[row] || body)[column];

  // -- moving ------------------------------------------------------------------------------

  function placeOf(cell) {
    const row = cell.closest("tr");
    return [rows().indexOf(row), cells(row).indexOf(cell)];
  }

  function go(row, column) {
    const cell = row >= 0 && column >= 0 ? cellAt(row, column) : null;
    if (!cell) return;
    cell.focus();
    cell.select?.();
  }

  // Down a column, and from its end on to the next one that is to be filled in.
  function down(row, column, step) {
    const next = row + step;
    if (next >= 0 && next < rows().length) { go(next, column); return; }
    const fill = cells(rows()[0]).map((cell, index) => (cell.closest("td.fill") ? index : -1)).filter((i) => i >= 0);
    const other = step > 0 ? fill.find((index) => index > column) : fill.findLast((index) => index < column);
    if (other !== undefined) go(step > 0 ? 0 : rows().length - 1, other);
  }

  function onKey(event) {
    const cell = event.target;
    if (!cell.closest("table.grid td") || cell.type === "checkbox" || event.ctrlKey || event.metaKey || event.altKey) return;
    const [row, column] = placeOf(cell);
    const atStart = cell.selectionStart === 0, atEnd = cell.selectionEnd === cell.value.length;
    const typed = cell.tagName === "INPUT";
    const whole = typed && atStart && atEnd;
    const moves = {
      Enter: () => down(row, column, event.shiftKey ? -1 : 1),
      ArrowDown: () => typed && go(row + 1, column),
      ArrowUp: () => typed && go(row - 1, column),
      ArrowLeft: () => (whole || !typed || atStart) && go(row, column - 1),
      ArrowRight: () => (whole || !typed || atEnd) && go(row, column + 1),
    };
    const before = document.activeElement;
    moves[event.key]?.();
    if (event.key === "Enter" || document.activeElement !== before) event.preventDefault();
  }

  // -- pasting -----------------------------------------------------------------------------

  function put(cell, text) {
    if (!cell || cell.readOnly) return;
    const value = text.trim();
    if (cell.tagName === "SELECT") {
      const same = (words) => words.trim().toLowerCase() === value.toLowerCase();
      const option = [...cell.options].find((one) => same(one.value) || same(one.text));
      if (option) cell.value = option.value; else mark(cell, value);
    } else {
      cell.value = cell.dataset.kind === "code" ? value.toUpperCase() : value;
    }
    tidy(cell);
  }

  function onPaste(event) {
    const text = event.clipboardData.getData("text");
    if (!event.target.closest("table.grid td") || !/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const [row, column] = placeOf(event.target);
    const lines = text.replace(/\r/g, "").replace(/\n$/, "").split("\n");
    while (rows().length < row + lines.length) addRow();
    lines.forEach((line, down_) => line.split("\t").forEach((value, right) => put(cellAt(row + down_, column + right), value)));
    form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // -- cells ---------------------------------------------------------------------------------

  // `words`: what is wrong with it; null: nothing.
  function mark(cell, words, link) {
    const id = `e-${cell.name}`;
    document.getElementById(id)?.remove();
    cell.toggleAttribute("aria-invalid", false);
    cell.removeAttribute("aria-describedby");
    if (words === null) return;
    cell.setAttribute("aria-invalid", "true");
    cell.setAttribute("aria-describedby", id);
    const said = told(words, link);
    said.id = id;
    cell.after(said);
  }

  function told(words, link) {
    const said = document.createElement("span");
    said.className = "error";
    said.textContent = words;
    if (link && link.startsWith("/")) {
      const count = document.createElement("a");
      count.href = link;
      count.target = "_blank";
      count.rel = "noopener";
      count.textContent = form.dataset.count;
      said.append(" ", count);
    }
    return said;
  }

  // What can't be a number is said at once.
  function tidy(cell) {
    if (cell.dataset.kind === "number") mark(cell, /^\d{0,7}$/.test(cell.value.trim()) ? null : form.dataset.number);
    else if (cell.tagName === "INPUT") mark(cell, null);
    sum();
  }

  function sum() {
    const heads = [...form.querySelectorAll("thead th")].slice(1);
    const parts = heads.map((head, column) => {
      const numbers = rows().map((row) => cells(row)[column]).filter((cell) => cell.dataset.kind === "number");
      const total = numbers.reduce((so_far, cell) => so_far + (/^\d{1,7}$/.test(cell.value) ? Number(cell.value) : 0), 0);
      return total ? `${head.textContent} ${total}` : "";
    }).filter(Boolean);
    const output = document.getElementById("sums");
    output.textContent = parts.length ? graftlog.say(output.dataset.words, { n: parts.join(", ") }) : "";
  }

  // -- rows ----------------------------------------------------------------------------------

  function addRow(name) {
    const last = rows().at(-1);
    const row = last.cloneNode(true);
    const number = name || `x${Math.max(-1, ...rows().map((one) => Number(one.dataset.row.slice(1)) || 0)) + 1}`;
    const old = last.dataset.row;
    row.dataset.row = number;
    row.removeAttribute("class");
    row.querySelectorAll(".error, .mark, .tick").forEach((one) => one.remove());
    row.querySelector("th").id = `n-${number}`;
    row.querySelector("th > span").textContent = rows().length + 1;
    row.querySelectorAll("[name]").forEach((one) => {
      one.name = one.name.replace(`r.${old}.`, `r.${number}.`);
      if (one.type === "hidden") return;
      one.setAttribute("aria-labelledby", one.getAttribute("aria-labelledby").replace(`n-${old}`, `n-${number}`));
      one.removeAttribute("aria-invalid");
      one.removeAttribute("aria-describedby");
      lock(one, false);
      one.defaultValue = one.value = "";
    });
    body.append(row);
    return row;
  }

  // A number far above the book is asked back: whether it is right is said for that number alone.
  function askSure(row, number) {
    row.querySelector(".tick")?.remove();
    const label = document.createElement("label");
    label.className = "tick";
    const box = document.createElement("input");
    Object.assign(box, { type: "checkbox", name: `r.${row.dataset.row}.sure`, value: number });
    label.append(box, ` ${form.dataset.sure}`);
    row.querySelector("td.fill").append(label);
  }

  // What was typed comes back, also into rows that were added.
  form.addEventListener("fill", (event) => {
    for (const [name, value] of event.detail) {
      const [, number, column] = /^r\.(x?\d+)\.(.*)$/.exec(name) || [];
      if (!number) continue;
      const found = form.querySelector(`[data-row="${number}"]`);
      const row = found || (number.startsWith("x") ? addRow(number) : null);
      if (row && column === "sure" && !row.querySelector(".tick")) askSure(row, value);
    }
  });
  form.addEventListener("filled", sum);
  form.addEventListener("kept", () => {
    rows().forEach((row) => { clean(row); row.querySelector(".tick")?.remove(); });
    sum();
  });

  function clean(row) {
    row.removeAttribute("class");
    row.querySelectorAll(".error, .became .mark").forEach((one) => one.remove());
    if (row.nextElementSibling?.matches(".why")) row.nextElementSibling.remove();
    cells(row).forEach((cell) => { mark(cell, null); lock(cell, false); });
  }

  // What is recorded goes along when the sheet is sent again, as it was.
  function lock(cell, locked) {
    cell.readOnly = locked;
    [...(cell.options || [])].forEach((option) => { option.disabled = locked && !option.selected; });
  }

  // A line of its own for what is wrong with a whole row.
  function whyBelow(row) {
    if (!row.nextElementSibling?.matches(".why")) {
      const line = document.createElement("tr");
      line.className = "why";
      line.insertCell().colSpan = row.cells.length;
      row.after(line);
    }
    return row.nextElementSibling.cells[0];
  }

  form.addEventListener("verdict", (event) => {
    for (const one of event.detail.rows || []) {
      const row = form.querySelector(`[data-row="${CSS.escape(one.row)}"]`);
      if (!row) continue;
      clean(row);
      row.classList.add(one.verdict || "unsent");
      const recorded = ["accepted", "known"].includes(one.verdict);
      cells(row).forEach((cell) => lock(cell, recorded));
      if (recorded) {
        const mark_ = document.createElement("span");
        mark_.className = "mark done";
        mark_.textContent = `✓ ${form.dataset.recorded}`;
        row.querySelector(".became").append(mark_);
      }
      for (const error of one.errors || []) {
        if (error.far) askSure(row, error.far);
        const cell = error.column && row.querySelector(`[name="r.${CSS.escape(one.row)}.${error.column}"]`);
        if (cell) mark(cell, error.words, error.count_form);
        else whyBelow(row).append(told(error.words, error.count_form));
      }
    }
    form.querySelector("[aria-invalid=true]")?.focus();
  });

  form.addEventListener("keydown", onKey);
  form.addEventListener("paste", onPaste);
  // While it is typed, not when it is left: what appears then would move the button under the thumb.
  form.addEventListener("input", (event) => { if (event.target.closest("td")) tidy(event.target); });
  const more = document.getElementById("more-rows");
  more.hidden = false;
  more.onclick = () => cells(addRow())[0].focus();
  sum();
})(self.graftlog);

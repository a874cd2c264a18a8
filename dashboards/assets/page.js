"use strict";
(() => {
  const state = new URLSearchParams(location.hash.slice(1));
  const keep = (key, value) => {
    value ? state.set(key, value) : state.delete(key);
    history.replaceState(null, "", "#" + state);
  };
  const value = (row, col) => {
    const cell = row.cells[col];
    const raw = cell.dataset.v ?? cell.textContent;
    return raw === "" ? null : isNaN(raw) ? raw.toLowerCase() : Number(raw);
  };
  const sort = (table, col, down) => {
    const body = table.tBodies[0];
    const rows = [...body.rows].sort((a, b) => {
      const x = value(a, col), y = value(b, col);
      if (x === null || y === null) return (x === null) - (y === null);
      return (x > y ? 1 : x < y ? -1 : 0) * (down ? -1 : 1);
    });
    body.append(...rows);
    for (const th of table.tHead.rows[0].cells) th.removeAttribute("aria-sort");
    table.tHead.rows[0].cells[col].setAttribute("aria-sort", down ? "descending" : "ascending");
  };
  const filter = (table, text) => {
    const words = text.toLowerCase();
    for (const row of table.tBodies[0].rows) row.hidden = !row.textContent.toLowerCase().includes(words);
  };
  for (const table of document.querySelectorAll("table[data-sortable]")) {
    [...table.tHead.rows[0].cells].forEach((th, col) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...th.childNodes);
      th.append(button);
      button.addEventListener("click", () => {
        const down = th.getAttribute("aria-sort") === "ascending";
        sort(table, col, down);
        keep(table.id + ".sort", col + (down ? "d" : "a"));
      });
    });
    const sorted = state.get(table.id + ".sort");
    if (sorted) sort(table, parseInt(sorted, 10), sorted.endsWith("d"));
  }
  for (const input of document.querySelectorAll("input[data-filters]")) {
    const table = document.getElementById(input.dataset.filters);
    input.closest("label").hidden = false;
    input.value = state.get(table.id + ".find") ?? "";
    filter(table, input.value);
    input.addEventListener("input", () => { filter(table, input.value); keep(table.id + ".find", input.value); });
  }
  addEventListener("beforeprint", () => { for (const d of document.querySelectorAll("details.print")) d.open = true; });
})();

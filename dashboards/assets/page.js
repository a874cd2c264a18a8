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
  const inert = (text) => /^[+-]?[\d.]+$/.test(text) ? text : text.replace(/(^|;)(?=[=+\-@＝＋－＠])/g, "$1'");
  const quoted = (text) => '"' + inert(text).replaceAll('"', '""') + '"';
  for (const table of document.querySelectorAll("main table")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "save";
    button.textContent = "Save as CSV";
    button.setAttribute("aria-label", "Save as CSV: " + table.caption.textContent);
    button.addEventListener("click", () => {
      const rows = [...table.rows].filter((row) => !row.hidden && row.dataset.cut !== "true");
      const text = rows.map((row) => [...row.cells].map((cell) => quoted(cell.innerText.replace(/\s+/g, " ").trim())).join(",")).join("\r\n") + "\r\n";
      const a = document.createElement("a");
      a.href = URL.createObjectURL(new Blob(["\ufeff", text], { type: "text/csv" }));
      a.download = table.id + ".csv";
      a.click();
      URL.revokeObjectURL(a.href);
    });
    table.parentElement.after(button);
  }
  const form = document.getElementById("cut");
  if (form) {
    const cuts = JSON.parse(document.getElementById("cuts").textContent);
    const lists = { month: cuts.months, region: cuts.regions, material: cuts.materials, technician: cuts.technicians };
    const asked = new URLSearchParams(location.search);
    const chosen = {};
    for (const [name, list] of Object.entries(lists)) {
      const select = form.elements[name];
      for (const [code, label] of list) select.append(new Option(label, code));
      if (list.some(([code]) => code === asked.get(name))) select.value = chosen[name] = asked.get(name);
    }
    form.hidden = false;
    const names = Object.keys(chosen);
    if (names.length) {
      const others = {};
      for (const name of names) others[name] = new Set(lists[name].flatMap(([code, label]) => code === chosen[name] ? [] : [code, label]));
      let hidden = 0;
      for (const row of document.querySelectorAll("main tbody tr")) {
        row.dataset.cut = [...row.cells].some((cell) => names.some((name) => others[name].has(cell.textContent.trim())));
        hidden += row.dataset.cut === "true";
      }
      const places = Object.entries(lists).map(([name, list]) => name in chosen ? list.findIndex(([code]) => code === chosen[name]) : -1);
      const cut = cuts.cuts.find((c) => places.every((place, i) => c[i] === place));
      const said = names.length > 2 ? "figures are made for at most two together" : cut ? cut[4] : "no point, or too long ago for two together";
      document.getElementById("cut-says").textContent = names.map((name) => form.elements[name].selectedOptions[0].text).join(", ") + ": " + said +
        ". Rows of tables about others are hidden (" + hidden + "); headings and figures stay those of all.";
      const query = "?" + new URLSearchParams(chosen);
      for (const a of document.querySelectorAll("a[href]")) {
        const [, file, hash] = a.getAttribute("href").match(/^([^:#?/]*\.html)(#.*)?$/) ?? [];
        if (file) a.setAttribute("href", file + query + (hash ?? ""));
      }
    }
    form.addEventListener("change", () => {
      const next = new URLSearchParams();
      for (const name of Object.keys(lists)) if (form.elements[name].value) next.set(name, form.elements[name].value);
      location.search = next;
    });
    form.addEventListener("reset", () => { location.search = ""; });
  }
  addEventListener("beforeprint", () => { for (const d of document.querySelectorAll("details.print")) d.open = true; });
})();

"use strict";
// The table of nets: a button in each heading sorts it, a text and a verdict filter it. Paper shows what is folded.
(() => {
  const table = document.getElementById("nets");
  if (table) {
    const body = table.tBodies[0];
    const rows = [...body.rows];
    const said = document.getElementById("nets-said");
    const words = document.getElementById("nets-words");
    const verdict = document.getElementById("nets-verdict");
    const heads = [...table.tHead.rows[0].cells];

    const show = () => {
      const wanted = words.value.toLowerCase().split(/\s+/).filter(Boolean);
      let count = 0;
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        const fits = wanted.every((word) => text.includes(word));
        row.hidden = !(fits && (verdict.value === "" || row.dataset.verdict === verdict.value));
        count += row.hidden ? 0 : 1;
      }
      said.textContent = `${count} of ${rows.length} nets shown`;
    };

    const sort = (column) => {
      const head = heads[column];
      const sign = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", sign === 1 ? "ascending" : "descending");
      const numbers = head.dataset.kind === "number";
      const key = (row) => row.cells[column].dataset.key ?? row.cells[column].textContent;
      const order = (a, b) => {
        if (!numbers) return sign * key(a).localeCompare(key(b), undefined, { numeric: true });
        if (key(a) === "" || key(b) === "") return (key(a) === "") - (key(b) === "");  // what is unknown comes last
        return sign * (Number(key(a)) - Number(key(b)));
      };
      body.append(...[...rows].sort(order));
    };

    heads.forEach((head, column) => head.querySelector("button").addEventListener("click", () => sort(column)));
    words.addEventListener("input", show);
    verdict.addEventListener("change", show);
    show();
  }

  let folded = [];
  window.addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((each) => { each.open = true; });
  });
  window.addEventListener("afterprint", () => folded.forEach((each) => { each.open = false; }));
})();

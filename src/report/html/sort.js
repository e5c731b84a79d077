// Tables can be sorted by a click on a column's head; without this script they are whole all the same.
for (const table of document.querySelectorAll("table.sorts")) {
  const body = table.tBodies[0];
  const heads = [...table.tHead.rows[0].cells];
  const order = new Intl.Collator("en", { numeric: true });
  heads.forEach((head, at) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const way = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", way > 0 ? "ascending" : "descending");
      const key = (row) => row.cells[at].dataset.sort ?? row.cells[at].textContent;
      const rows = [...body.rows].map((row) => [key(row), row]);
      // What has no value stays last, whichever way the others go.
      rows.sort(([a], [b]) => (a === "") - (b === "") || way * order.compare(a, b));
      body.append(...rows.map(([, row]) => row));
    });
  });
}

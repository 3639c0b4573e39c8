"use strict";
(function () {
  const table = document.getElementById("suite-table"), body = table.querySelector("tbody");
  const headings = Array.from(table.querySelectorAll("thead th"));
  const pointed = document.getElementById("pointed");
  const rows = Array.from(body.rows), lines = new Map();
  document.querySelectorAll("figure .line").forEach(function (line) { lines.set(line.dataset.line, line); });

  // A line and its row are marked together, whichever is pointed at or has the focus.
  function mark(name) {
    rows.forEach(function (row) {
      const is = row.dataset.line === name, line = lines.get(row.dataset.line);
      row.classList.toggle("pointed", is);
      if (line) line.classList.toggle("pointed", is);
      if (is) pointed.textContent = line ? line.querySelector("title").textContent : row.cells[0].textContent;
    });
    if (name === "") pointed.textContent = "none";
  }
  function unmark() {
    mark(rows.includes(document.activeElement) ? document.activeElement.dataset.line : "");
  }
  function watch(element, name) {
    ["mouseenter", "focus"].forEach(function (kind) { element.addEventListener(kind, function () { mark(name); }); });
    ["mouseleave", "blur"].forEach(function (kind) { element.addEventListener(kind, unmark); });
  }
  rows.forEach(function (row) { watch(row, row.dataset.line); });
  lines.forEach(function (line, name) { watch(line, name); });

  const order = new Intl.Collator("en", { numeric: true });
  headings.forEach(function (heading, column) {
    const button = document.createElement("button");
    const isNumber = heading.dataset.kind === "number" || heading.dataset.kind === "severity";
    button.type = "button";
    button.textContent = heading.textContent.trim();
    heading.replaceChildren(button);
    button.addEventListener("click", function () {
      const falling = heading.getAttribute("aria-sort") === "ascending";
      headings.forEach(function (other) { other.removeAttribute("aria-sort"); });
      heading.setAttribute("aria-sort", falling ? "descending" : "ascending");
      const key = function (row) { return row.cells[column].dataset.key; };
      const sorted = rows.slice().sort(function (one, two) {
        const way = isNumber ? Number(key(one)) - Number(key(two)) : order.compare(key(one), key(two));
        return (falling ? -way : way) || rows.indexOf(one) - rows.indexOf(two);
      });
      body.replaceChildren(...sorted);
    });
  });
}());

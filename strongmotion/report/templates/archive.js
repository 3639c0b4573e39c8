"use strict";
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  const headings = Array.from(document.querySelectorAll("#table thead th"));
  const body = document.querySelector("#table tbody");
  const where = document.getElementById("where");
  const before = document.getElementById("before");
  const after = document.getElementById("after");
  const filter = document.getElementById("filter");
  const order = new Intl.Collator("en", { numeric: true });
  let rows = data.rows, first = 0, sorted = -1, falling = false;

  function keyOf(row, column) {
    return data.columns[column].kind === "link" ? row[column][0] : row[column];
  }

  const grave = ["none", "note", "doubt", "unfit"];

  function compare(one, two, kind) {
    if (kind === "number") {
      const a = one === "no limit" ? Infinity : one, b = two === "no limit" ? Infinity : two;
      return a === b ? 0 : a - b;
    }
    return kind === "severity" ? grave.indexOf(one) - grave.indexOf(two) : order.compare(one, two);
  }

  function element(name, text) {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    return made;
  }

  // Three digits, as the first leaf, which is written without script, has them.
  function printed(value) {
    if (value === null) return "–";
    if (typeof value === "string") return value;
    const size = Math.abs(value);
    if (size !== 0 && (size < 1e-4 || size >= 1e7)) return value.toExponential(2);
    return size >= 999.5 ? value.toFixed(0) : value === 0 ? "0" : value.toPrecision(3);
  }

  function cell(row, column) {
    const value = row[column], kind = data.columns[column].kind;
    if (kind === "picture") {
      const made = element("td");
      if (value) {
        const space = "http://www.w3.org/2000/svg";
        const picture = document.createElementNS(space, "svg"), path = document.createElementNS(space, "path");
        picture.setAttribute("class", "thumb");
        picture.setAttribute("viewBox", "0 0 120 28");
        picture.setAttribute("role", "img");
        picture.setAttribute("aria-label", "Acceleration of " + row[1][0]);
        path.setAttribute("d", value);
        picture.append(path);
        made.append(picture);
      }
      return made;
    }
    if (kind === "link") {
      const made = element("th"), name = element("bdi", value[0]);
      made.scope = "row";
      if (value[1]) {
        const link = element("a");
        link.href = value[1];
        link.append(name);
        made.append(link);
      } else made.append(name);
      return made;
    }
    const made = element("td");
    if (kind === "number") {
      made.className = "number";
      made.textContent = printed(value);
    } else {
      const text = element(kind === "severity" ? "span" : "bdi", value);
      if (kind === "severity") text.className = "badge " + value;
      else made.className = "text";
      made.append(text);
    }
    return made;
  }

  function show() {
    first = Math.max(0, Math.min(first, Math.floor((rows.length - 1) / data.leaf) * data.leaf));
    const shown = rows.slice(first, first + data.leaf);
    body.replaceChildren(...shown.map(function (row) {
      const line = element("tr");
      line.append(...data.columns.map(function (_, column) { return cell(row, column); }));
      return line;
    }));
    where.textContent = rows.length ? (first + 1) + " to " + (first + shown.length) + " of " + rows.length : "none";
    before.disabled = first === 0;
    after.disabled = first + data.leaf >= rows.length;
  }

  function arrange() {
    const wanted = filter.value.trim().toLowerCase();
    rows = data.rows.filter(function (row) {
      return !wanted || [row[1][0], row[2], row[3], row[row.length - 1]].join(" ").toLowerCase().includes(wanted);
    });
    if (sorted >= 0) {
      const kind = data.columns[sorted].kind;
      rows.sort(function (one, two) {
        const a = keyOf(one, sorted), b = keyOf(two, sorted);
        if (a === null || b === null) return (a === null) - (b === null);  // what is not known comes last
        return (falling ? -1 : 1) * compare(a, b, kind);
      });
    }
    first = 0;
    show();
  }

  headings.forEach(function (heading, column) {
    if (data.columns[column].kind === "picture") return;
    const button = element("button", heading.textContent.trim());
    button.type = "button";
    heading.replaceChildren(button);
    button.addEventListener("click", function () {
      falling = sorted === column ? !falling : data.columns[column].kind === "number";
      sorted = column;
      headings.forEach(function (other) { other.removeAttribute("aria-sort"); });
      heading.setAttribute("aria-sort", falling ? "descending" : "ascending");
      arrange();
    });
  });
  before.addEventListener("click", function () { first -= data.leaf; show(); });
  after.addEventListener("click", function () { first += data.leaf; show(); });
  filter.addEventListener("input", arrange);
  document.querySelector(".tools").hidden = false;
  show();
}());

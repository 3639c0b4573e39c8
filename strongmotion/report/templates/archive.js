"use strict";
(async function () {
  const letters = atob(document.getElementById("data").textContent), packed = new Uint8Array(letters.length);
  for (let at = 0; at < letters.length; at += 1) packed[at] = letters.charCodeAt(at);
  const unpacked = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const data = JSON.parse(await new Response(unpacked).text());
  const values = data.values, total = values[0].length;
  const headings = Array.from(document.querySelectorAll("#table thead th"));
  const body = document.querySelector("#table tbody");
  const where = document.getElementById("where");
  const before = document.getElementById("before");
  const after = document.getElementById("after");
  const filter = document.getElementById("filter");
  const order = new Intl.Collator("en", { numeric: true });
  const every = Uint32Array.from({ length: total }, function (_, row) { return row; });
  const texts = new Array(total), ranks = new Map();
  let rows = every, first = 0, sorted = -1, falling = false;

  const grave = ["none", "note", "doubt", "unfit"];

  function isUnusable(row) {
    return values[0][row] === "unfit" || values[3][row] === "rejected" || values[3][row] === "withdrawn";
  }

  // What a column is sorted by, a number a row, made once; NaN is what is not known or not for use and comes last.
  function rankOf(column) {
    if (!ranks.has(column)) {
      const kind = data.columns[column].kind, held = values[column];
      let made;
      if (kind === "number") made = function (row) {
        const value = held[row];
        return value === null || isUnusable(row) ? NaN : value === "no limit" ? Infinity : value;
      };
      else if (kind === "severity") made = function (row) { return grave.indexOf(held[row]); };
      else {
        const textOf = function (row) { return kind === "link" ? held[row][0] : held[row]; };
        const words = Array.from(new Set(Array.from(every, textOf)));
        // To compare by numbers inside takes seconds for a hundred thousand different texts.
        if (words.length > 20000) words.sort(); else words.sort(order.compare);
        const places = new Map(words.map(function (word, place) { return [word, place]; }));
        made = function (row) { return places.get(textOf(row)); };
      }
      ranks.set(column, Float64Array.from(every, made));
    }
    return ranks.get(column);
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
    const value = values[column][row], kind = data.columns[column].kind;
    if (kind === "picture") {
      const made = element("td");
      if (value) {
        const space = "http://www.w3.org/2000/svg";
        const picture = document.createElementNS(space, "svg"), path = document.createElementNS(space, "path");
        picture.setAttribute("class", "thumb");
        picture.setAttribute("viewBox", "0 0 120 28");
        picture.setAttribute("role", "img");
        picture.setAttribute("aria-label", "Acceleration of " + values[1][row][0]);
        path.setAttribute("d", value);
        picture.append(path);
        made.append(picture);
      }
      return made;
    }
    if (kind === "link") {
      const made = element("th"), name = element("bdi");
      value[0].split(/(?<=_)/).forEach(function (part) { name.append(part, element("wbr")); });
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
      made.textContent = printed(value) + (isUnusable(row) ? " †" : "");
    } else {
      const text = element(kind === "severity" ? "span" : "bdi", value);
      if (kind === "severity") {
        made.className = "severity";
        text.className = "badge " + value;
      }
      else made.className = "text";
      made.append(text);
    }
    return made;
  }

  function show() {
    first = Math.max(0, Math.min(first, Math.floor((rows.length - 1) / data.leaf) * data.leaf));
    const shown = rows.slice(first, first + data.leaf);
    body.replaceChildren(...Array.from(shown, function (row) {
      const line = element("tr");
      if (isUnusable(row)) line.className = "unusable";
      line.append(...data.columns.map(function (_, column) { return cell(row, column); }));
      return line;
    }));
    where.textContent = rows.length ? (first + 1) + " to " + (first + shown.length) + " of " + rows.length : "none";
    before.disabled = first === 0;
    after.disabled = first + data.leaf >= rows.length;
  }

  function arrange() {
    const wanted = filter.value.trim().toLowerCase();
    rows = every.filter(function (row) {
      if (!wanted) return true;
      if (texts[row] === undefined) {
        texts[row] = [values[1][row][0], values[3][row], values[5][row], values[6][row], values[0][row]].join(" ").toLowerCase();
      }
      return texts[row].includes(wanted);
    });
    if (sorted >= 0) {
      const rank = rankOf(sorted), sign = falling ? -1 : 1;
      rows.sort(function (one, two) {
        const a = rank[one], b = rank[two];
        if (a !== a || b !== b) return (a !== a) - (b !== b) || one - two;
        return a === b ? one - two : a < b ? -sign : sign;
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

(function () {
  "use strict";
  // Makes every table with three rows or more sortable from its headings. Without this script the pages
  // hold the same tables in the order in which they were written. It only moves rows that are there.
  var says = document.getElementById("says");
  var unknown = /^(not known|not observed|not defined|no log|none|no limit|[\u2013\u2014\u00b7]?)$/;
  var number = /^[<>~]?\s*([+\u2212-]?[\d\u202f]+(?:\.\d+)?(?:e\d+)?)(?![\d-])/;

  function text(cell) {
    if (!cell) { return ""; }
    return (cell.hasAttribute("data-sort") ? cell.getAttribute("data-sort") : cell.textContent)
      .replace(/\s+/g, " ").trim();
  }

  function amount(words) {
    var found = number.exec(words);
    return found ? parseFloat(found[1].replace(/\u202f/g, "").replace("\u2212", "-")) : NaN;
  }

  // The column as keys: numbers where every known cell begins with one, else texts.
  function keys(rows, column) {
    var texts = rows.map(function (row) { return text(row.cells[column]); });
    var known = texts.filter(function (words) { return !unknown.test(words); });
    var numeric = known.length > 0 && known.every(function (words) { return !isNaN(amount(words)); });
    return {
      numeric: numeric,
      of: texts.map(function (words) {
        if (unknown.test(words)) { return null; }
        return numeric ? amount(words) : words;
      })
    };
  }

  // What is not known stands last whichever way the others go.
  function compare(a, b, numeric, way) {
    if (a === null || b === null) { return (a === null) - (b === null); }
    return way * (numeric ? a - b : a.localeCompare(b, "en", { numeric: true }));
  }

  function sort(table, heading, column) {
    var body = table.tBodies[0];
    var rows = Array.prototype.slice.call(body.rows);
    var key = keys(rows, column);
    var was = heading.getAttribute("aria-sort");
    var first = key.numeric ? "descending" : "ascending";
    var other = key.numeric ? "ascending" : "descending";
    var now = was === first ? other : first;
    var way = now === "ascending" ? 1 : -1;
    var order = rows.map(function (row, at) { return at; });
    order.sort(function (a, b) { return compare(key.of[a], key.of[b], key.numeric, way) || a - b; });
    order.forEach(function (at) { body.appendChild(rows[at]); });
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (cell) {
      if (cell.hasAttribute("aria-sort")) { cell.setAttribute("aria-sort", "none"); }
    });
    heading.setAttribute("aria-sort", now);
    if (says) { says.textContent = "Sorted by " + text(heading) + ", " + now + "."; }
  }

  function prepare(table) {
    if (!table.tHead || table.tHead.rows.length !== 1 || table.tBodies.length !== 1) { return; }
    if (table.tBodies[0].rows.length < 3) { return; }
    var column = 0;
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (heading) {
      var own = column;
      column += heading.colSpan;
      if (!heading.textContent.trim() || heading.querySelector(".hidden")) { return; }
      var button = document.createElement("button");
      button.type = "button";
      while (heading.firstChild) { button.appendChild(heading.firstChild); }
      heading.appendChild(button);
      heading.setAttribute("aria-sort", "none");
      button.addEventListener("click", function () { sort(table, heading, own); });
    });
    table.classList.add("sorts");
  }

  Array.prototype.forEach.call(document.querySelectorAll("table:not(.fixed)"), prepare);
})();

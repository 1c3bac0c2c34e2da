// Functions that look at a page and return what is wrong with it, a line each; [] when nothing is.
window.checks = {
  structure: function () {
    var wrong = [];
    function all(what) { return Array.prototype.slice.call(document.querySelectorAll(what)); }
    function text(node) { return (node.textContent || "").trim().slice(0, 60); }
    if (!document.documentElement.lang) { wrong.push("no language"); }
    if (!document.title.trim()) { wrong.push("no title"); }
    var level = 0;
    all("h1,h2,h3,h4,h5,h6").forEach(function (heading) {
      var own = +heading.tagName[1];
      if (own > level + 1) { wrong.push("h" + own + " after h" + level + ": " + text(heading)); }
      if (!text(heading)) { wrong.push("an empty h" + own); }
      level = own;
    });
    if (all("h1").length !== 1) { wrong.push(all("h1").length + " h1"); }
    var landmarks = all("body > .page > header, main, body > .page > footer");
    var order = landmarks.map(function (node) { return node.tagName.toLowerCase(); }).join(" ");
    if (order !== "header main footer") { wrong.push("landmarks: " + order); }
    all("nav,section,[role=region]").forEach(function (node) {
      var by = node.getAttribute("aria-labelledby");
      if (by ? !document.getElementById(by) : !node.getAttribute("aria-label")) {
        wrong.push("without a name: " + node.outerHTML.slice(0, 80));
      }
    });
    all("svg[role=img]").forEach(function (node) {
      var by = node.getAttribute("aria-labelledby");
      var named = by ? by.split(" ").every(function (id) {
        return document.getElementById(id) && text(document.getElementById(id));
      }) : node.getAttribute("aria-label");
      if (!named) { wrong.push("a picture without a text alternative"); }
    });
    all("svg:not([role=img])").forEach(function (node) {
      if (node.getAttribute("aria-hidden") !== "true") { wrong.push("a picture that is neither named nor hidden"); }
    });
    all("table").forEach(function (node) {
      if (!node.caption || !text(node.caption)) { wrong.push("a table without a caption"); }
      if (!node.querySelector("th")) { wrong.push("a table without headings"); }
    });
    var seen = {};
    all("[id]").forEach(function (node) {
      if (seen[node.id]) { wrong.push("the id " + node.id + " twice"); }
      seen[node.id] = true;
    });
    all("a[href^='#']").forEach(function (node) {
      if (!document.getElementById(node.getAttribute("href").slice(1))) { wrong.push("a link to nowhere: " + node.hash); }
    });
    if (all("script").length > 1 || all("img,iframe,object,embed,form,link[rel=stylesheet]").length) {
      wrong.push("an element that no template has");
    }
    return wrong;
  },

  // No part of the page is wider than the view; regions that scroll by themselves may hold wider things.
  width: function () {
    var room = document.documentElement.clientWidth;
    var wrong = [];
    if (document.documentElement.scrollWidth > room) {
      wrong.push("scrolls sideways: " + document.documentElement.scrollWidth + " in " + room);
      document.querySelectorAll("main *, header *, footer *").forEach(function (node) {
        var right = node.getBoundingClientRect().right;
        var inside = node.closest(".scroll");
        if (inside && getComputedStyle(inside).overflowX === "visible") { inside = null; }
        if (right > room + 1 && wrong.length < 4 && !inside && !node.closest("svg")) {
          wrong.push("wider than the view: " + node.outerHTML.slice(0, 80));
        }
      });
    }
    return wrong;
  },

  // WCAG 2.2, criterion 1.4.3: 4.5 to 1, for large text 3 to 1.
  contrast: function () {
    function colour(words) {
      var numbers = (words.match(/[\d.]+(e-?\d+)?/g) || []).map(Number);
      if (/^rgba?\(/.test(words)) {
        return { rgb: numbers.slice(0, 3).map(function (n) { return n / 255; }), a: numbers.length > 3 ? numbers[3] : 1 };
      }
      if (/^color\(srgb /.test(words)) { return { rgb: numbers.slice(0, 3), a: numbers.length > 3 ? numbers[3] : 1 }; }
      return null;
    }
    function over(top, ground) {
      return top.rgb.map(function (n, i) { return n * top.a + ground[i] * (1 - top.a); });
    }
    function luminance(rgb) {
      var lin = rgb.map(function (n) { return n <= 0.04045 ? n / 12.92 : Math.pow((n + 0.055) / 1.055, 2.4); });
      return 0.2126 * lin[0] + 0.7152 * lin[1] + 0.0722 * lin[2];
    }
    function ground(node) {
      var layers = [];
      for (var at = node; at; at = at.parentElement) {
        var own = colour(getComputedStyle(at).backgroundColor);
        if (own && own.a > 0) { layers.push(own); if (own.a === 1) { break; } }
      }
      return layers.reverse().reduce(function (below, layer) { return over(layer, below); }, [1, 1, 1]);
    }
    var wrong = [], seen = {};
    var walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      var node = walker.currentNode.parentElement;
      if (!walker.currentNode.textContent.trim() || node.closest("script,style,title,desc,.hidden,.skip")) { continue; }
      var style = getComputedStyle(node);
      var ink = colour(node instanceof SVGElement ? style.fill : style.color);
      if (!ink) { continue; }
      var below = ground(node instanceof SVGElement ? node.closest("svg").parentElement : node);
      var pair = [luminance(over(ink, below)), luminance(below)].sort(function (a, b) { return b - a; });
      var ratio = (pair[0] + 0.05) / (pair[1] + 0.05);
      var size = parseFloat(style.fontSize);
      var large = size >= 24 || (size >= 18.66 && +style.fontWeight >= 700);
      if (ratio < (large ? 3 : 4.5)) {
        var key = node.tagName + node.className + ratio.toFixed(2);
        if (!seen[key]) { wrong.push(ratio.toFixed(2) + " to 1: " + node.outerHTML.slice(0, 90)); }
        seen[key] = true;
      }
    }
    return wrong.slice(0, 8);
  },

  // Criterion 2.5.8: a button is at least 24 by 24.
  targets: function () {
    var wrong = [];
    document.querySelectorAll("button, summary").forEach(function (node) {
      var box = node.getBoundingClientRect();
      if (box.width > 0 && (box.height < 23.5 || box.width < 23.5)) {
        wrong.push("a small target: " + box.width.toFixed(0) + " by " + box.height.toFixed(0) + ", " + node.textContent.trim().slice(0, 40));
      }
    });
    return wrong.slice(0, 4);
  },

  // The rows of a sortable table as the texts of one column, and what its heading says.
  column: function (table, heading) {
    var all = document.querySelectorAll("table.sorts");
    var own = all[table].tHead.rows[0].cells[heading];
    var column = 0;
    for (var i = 0; i < heading; i++) { column += all[table].tHead.rows[0].cells[i].colSpan; }
    return {
      sort: own.getAttribute("aria-sort"),
      cells: Array.prototype.map.call(all[table].tBodies[0].rows, function (row) {
        var cell = row.cells[column];
        return cell.hasAttribute("data-sort") ? cell.getAttribute("data-sort") : cell.textContent.trim();
      }),
      rows: Array.prototype.map.call(all[table].tBodies[0].rows, function (row) { return row.textContent; }).sort().join("\n")
    };
  },

  // Puts a link before and after every picture: links have a place on the printed page.
  marks: function () {
    var figures = document.querySelectorAll("figure");
    figures.forEach(function (figure, at) {
      ["begin", "end"].forEach(function (side) {
        var link = document.createElement("a");
        link.href = "https://" + side + ".invalid/" + at;
        link.textContent = "|";
        link.style.display = "block";
        if (side === "begin") { figure.insertBefore(link, figure.firstChild); } else { figure.appendChild(link); }
      });
    });
    return figures.length;
  },

  // Puts a link into every heading, term and caption, and one into what follows it: both belong on one sheet.
  // Left out: the pieces of evidence side by side, and the heading right before them. Columns are broken each for
  // itself, and the browser does not hold a heading in a column to its list.
  headings: function () {
    function link(side, at, home, before) {
      var link = document.createElement("a");
      link.href = "https://" + side + ".invalid/" + at;
      link.textContent = "|";
      home.insertBefore(link, before);
    }
    function following(node) {
      if (node.tagName === "CAPTION") {
        var row = node.parentElement.tBodies[0].rows[0];
        return row ? row.cells[0] : null;
      }
      var next = node;
      while (next && !next.nextElementSibling) { next = next.parentElement; }
      next = next && next.nextElementSibling;
      while (next && /^(DIV|SECTION|ARTICLE|UL|OL|DL|TABLE|DETAILS|THEAD|TBODY|TR)$/.test(next.tagName) && next.firstElementChild) {
        next = next.firstElementChild;
      }
      return next;
    }
    var said = [];
    document.querySelectorAll("h1, h2, h3, h4, dt, caption").forEach(function (node) {
      var next = following(node);
      var beside = node.closest(".sides") || (next && next.closest(".sides"));
      if (node.closest(".hidden") || beside || !next || !node.checkVisibility() || next instanceof SVGElement) { return; }
      link("label", said.length, node, null);
      link("labelled", said.length, next, next.firstChild);
      said.push(node.tagName.toLowerCase() + " " + node.textContent.trim().slice(0, 40));
    });
    return said;
  }
};

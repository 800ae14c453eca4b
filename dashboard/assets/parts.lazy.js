/* What most pages are made of: panels with their states, tables with a download, charts. */
(function () {
  "use strict";
  var it = window.duestroke;
  if (it.panel) { return; }
  var h = it.h, some = it.some, words = it.words;

  /* ---- a panel: title, state in words, then what the page draws into it ---- */
  function panel(made, kids) {
    var shows = made.state === "shown" || made.state === "old";
    var tone = { error: "short", "cant-tell": "doubt", old: "doubt" }[made.state] || "";
    return h("section", made.key, { "class": "panel p-" + made.state, "aria-labelledby": "h-" + made.key }, some([
      it.band("h-" + made.key, made.title, [words("p", "say", "", made.say)]),
      made.lead || made.rest ? h("p", "says", { "class": "says", role: "status" }, some([
        made.lead ? h("b", 1, { "class": tone }, made.lead) : null, made.rest ? h("span", 2, {}, (made.lead ? " " : "") + made.rest) : null])) : null
    ].concat(shows ? kids || [] : [])));
  }

  /* ---- tables ---- */
  function cell(each, at, head) {
    var text = typeof each === "string" ? each : each.text;
    var name = some([head[at] && head[at].right ? "r" : "", each.tone || ""]).join(" ");
    var attrs = name ? { "class": name } : {};
    if (!at) { attrs.scope = "row"; }
    return h(at ? "td" : "th", at, attrs, each.href ? [h("a", 1, { href: each.href }, text)] : text);
  }

  function table(made) {
    return h("div", made.key, { "class": "tablebox" }, some([
      h("table", "t", { "class": "plain" }, [
        h("caption", "c", { "class": "sr" }, made.caption),
        h("thead", 1, {}, [h("tr", 1, {}, made.head.map(function (each, at) { return h("th", at, { scope: "col", "class": each.right ? "r" : "" }, each.word); }))]),
        h("tbody", 2, {}, made.rows.map(function (row) {
          return h("tr", row.key, { "class": row.gone ? "gone" : "" }, row.cells.map(function (each, at) { return cell(each, at, made.head); }));
        }))]),
      words("p", "more", "quiet", made.more),
      h("p", "get", { "class": "tools" }, [h("button", 1, { type: "button", "class": "link", "data-csv": made.key, "aria-label": "CSV of " + made.caption }, "CSV")])]));
  }

  /* ---- charts ---- */
  function chart(made) {
    var reads = made.points.length > 0;
    var plot = { "class": "plot" };
    if (reads) { plot.tabindex = "0"; plot["data-reads"] = made.key; plot.role = "group"; plot["aria-label"] = made.title + ". Left and right arrow keys read its points."; }
    return h("figure", made.key, { "class": "fig chart" }, some([
      h("figcaption", "t", { "class": "charttitle" }, made.title),
      h("p", "yt", { "class": "ytitle" }, made.y.title),
      h("div", "ys", { "class": "ys", "aria-hidden": "true" }, made.y.ticks.map(function (tick) { return h("span", tick.text, { style: "top:" + tick.at + "%" }, tick.text); })),
      h("div", "plot", plot, some([
        h("svg", "svg", { viewBox: "0 0 1000 100", preserveAspectRatio: "none", role: "img", "aria-label": made.says }, [h("path", "grid", { "class": "gr", d: made.grid })].concat(
          some(made.series.map(function (each) { return each.path ? h("path", each.name, { "class": "c-" + each.kind, d: each.path }) : null; })))),
        reads ? h("span", "at", { "class": "hair", hidden: "" }, "") : null])),
      h("div", "xs", { "class": "xs", "aria-hidden": "true" }, made.x.ticks.map(function (tick) { return h("span", tick.text, { style: "left:" + tick.at + "%" }, tick.text); })),
      h("p", "xt", { "class": "xtitle" }, made.x.title),
      made.series.length > 1 ? h("p", "key", { "class": "chartkey" }, made.series.map(function (each) {
        return h("span", each.name, { "class": "pair" }, [h("svg", "s", { viewBox: "0 0 26 10", width: 26, height: 10, "aria-hidden": "true" }, [h("path", 1, { "class": "c-" + each.kind, d: each.kind === "band" ? "M0 0H26V10H0Z" : /dots|act/.test(each.kind) ? "M13 5h0" : each.kind === "uprights" ? "M13 0V10" : "M0 5H26" })]), h("span", "n", {}, each.name)]);
      })) : null,
      reads ? h("p", "read", { "class": "readout", "aria-live": "polite" }, "") : null,
      h("p", "says", { "class": "figsays" }, made.says),
      h("p", "get", { "class": "tools" }, some([
        made.table ? h("button", 1, { type: "button", "class": "link", "data-open": made.key, "aria-expanded": String(made.open), "aria-label": "Table of " + made.title }, "Table") : null,
        made.table ? h("button", 2, { type: "button", "class": "link", "data-csv": made.table.key, "aria-label": "CSV of " + made.title }, "CSV") : null,
        h("button", 3, { type: "button", "class": "link", "data-png": made.key, "aria-label": "PNG of " + made.title }, "PNG")])),
      made.table && made.open ? table(made.table) : null]));
  }

  /* ---- downloads: made here, from what the page holds ---- */
  function found(part, key, what) {
    if (!part || typeof part !== "object") { return null; }
    if (part.key === key && part[what]) { return part; }
    var inner = Object.keys(part).map(function (name) { return part[name]; });
    for (var at = 0; at < inner.length; at += 1) { var hit = found(inner[at], key, what); if (hit) { return hit; } }
    return null;
  }

  function save(name, blob) {
    var link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = name;
    link.click();
    window.setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
  }

  /* RFC 4180; text that a spreadsheet would take for a formula is led by an apostrophe. */
  function field(value) {
    if (value === null || value === undefined) { return ""; }
    var text = typeof value === "string" && /^[=+\-@\t\r]/.test(value) ? "'" + value : String(value);
    return /[",\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  }

  function csv(made) {
    var rows = [made.csv.head].concat(made.csv.rows);
    return rows.map(function (row) { return row.map(field).join(","); }).join("\r\n") + "\r\n";
  }

  var WORN = ["fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "stroke-linejoin", "opacity", "fill-opacity"];

  /* The chart once more as a picture of 1200 by 640, in the colours it has on the screen. */
  function picture(figure, made) {
    var NS = "http://www.w3.org/2000/svg", box = { x: 110, y: 60, w: 1060, h: 460 };
    var ink = getComputedStyle(figure).color, paper = getComputedStyle(document.querySelector(".sheet")).backgroundColor;
    function add(to, name, attrs, text) {
      var node = document.createElementNS(NS, name);
      Object.keys(attrs).forEach(function (each) { node.setAttribute(each, attrs[each]); });
      if (text) { node.textContent = text; }
      to.appendChild(node);
      return node;
    }
    var svg = document.createElementNS(NS, "svg");
    svg.setAttribute("xmlns", NS); svg.setAttribute("width", 1200); svg.setAttribute("height", 640);
    svg.setAttribute("font-family", "Arial, sans-serif"); svg.setAttribute("font-size", 16);
    add(svg, "rect", { width: 1200, height: 640, fill: paper });
    add(svg, "text", { x: 20, y: 30, fill: ink, "font-size": 20, "font-weight": 700 }, made.title);
    add(svg, "text", { x: 20, y: 52, fill: ink }, made.y.title);
    add(svg, "text", { x: box.x + box.w / 2, y: 570, fill: ink, "text-anchor": "middle" }, made.x.title);
    add(svg, "text", { x: 20, y: 615, fill: ink }, made.says);
    made.y.ticks.forEach(function (tick) { add(svg, "text", { x: box.x - 8, y: box.y + box.h * tick.at / 100 + 5, fill: ink, "text-anchor": "end" }, tick.text); });
    made.x.ticks.forEach(function (tick) { add(svg, "text", { x: box.x + box.w * tick.at / 100, y: box.y + box.h + 22, fill: ink, "text-anchor": "middle" }, tick.text); });
    var plot = add(svg, "svg", { x: box.x, y: box.y, width: box.w, height: box.h, viewBox: "0 0 1000 100", preserveAspectRatio: "none", overflow: "visible" });
    figure.querySelectorAll(".plot svg path").forEach(function (drawn) {
      var style = getComputedStyle(drawn), attrs = { d: drawn.getAttribute("d"), "vector-effect": "non-scaling-stroke" };
      WORN.forEach(function (each) { attrs[each] = style.getPropertyValue(each); });
      add(plot, "path", attrs);
    });
    return new XMLSerializer().serializeToString(svg);
  }

  function png(made) {
    var figure = document.querySelector('[data-png="' + made.key + '"]').closest("figure");
    var image = new Image();
    image.addEventListener("load", function () {
      var canvas = document.createElement("canvas");
      canvas.width = 1200; canvas.height = 640;
      canvas.getContext("2d").drawImage(image, 0, 0);
      canvas.toBlob(function (blob) { save(made.key + ".png", blob); }, "image/png");
    });
    image.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(picture(figure, made));
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-csv],[data-png]");
    if (!button) { return; }
    var key = button.getAttribute("data-csv");
    if (key) {
      var rows = found(it.shown.page, key, "csv");
      if (rows) { save(key + ".csv", new Blob(["\ufeff" + csv(rows)], { type: "text/csv;charset=utf-8" })); }
    } else {
      var drawn = found(it.shown.page, button.getAttribute("data-png"), "series");
      if (drawn) { png(drawn); }
    }
  });

  /* ---- reading a chart point by point, by pointer or by arrow keys ---- */
  function read(plot, at) {
    var made = found(it.shown.page, plot.getAttribute("data-reads"), "series");
    var point = made && made.points[at];
    if (!point) { return; }
    plot.setAttribute("data-at", at);
    var hair = plot.querySelector(".hair");
    hair.hidden = false;
    hair.style.left = point.left + "%"; hair.style.top = point.top + "%";
    plot.closest("figure").querySelector(".readout").textContent = point.text;
  }

  document.addEventListener("pointermove", function (event) {
    var plot = event.target.closest && event.target.closest("[data-reads]");
    if (!plot) { return; }
    var made = found(it.shown.page, plot.getAttribute("data-reads"), "series");
    if (!made) { return; }
    var box = plot.getBoundingClientRect(), x = 100 * (event.clientX - box.left) / box.width, y = 100 * (event.clientY - box.top) / box.height;
    var best = 0, least = Infinity;
    made.points.forEach(function (point, at) {
      var far = Math.pow((point.left - x) * box.width, 2) + Math.pow((point.top - y) * box.height, 2);
      if (far < least) { least = far; best = at; }
    });
    read(plot, best);
  });

  document.addEventListener("keydown", function (event) {
    var plot = event.target.closest && event.target.closest("[data-reads]");
    var step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!plot || !step) { return; }
    event.preventDefault();
    var made = found(it.shown.page, plot.getAttribute("data-reads"), "series");
    var now = plot.hasAttribute("data-at") ? Number(plot.getAttribute("data-at")) + step : 0;
    read(plot, Math.max(0, Math.min(made.points.length - 1, now)));
  });

  it.panel = panel; it.table = table; it.chart = chart; it.csvOf = csv;
})();

/* What must be ready by which day, in which size; the bench, what is wanted, what is away. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;

  function path(name, data) { return data ? h("path", name, { "class": name, d: data }) : null; }

  function axis(page, kids, drawn) {
    return h("div", "axis", { "class": "axis none" }, [
      h("svg", "drawn", { viewBox: "0 0 " + page.axis.span + " 100", preserveAspectRatio: "none", "aria-hidden": "true" },
        some([path("wk", page.axis.weeks)].concat(drawn)))].concat(kids));
  }

  function shelf(row) {
    return h("p", "shelf", { "class": "shelf" }, [h("b", "n", { "class": "id" }, row.count), h("span", "w", {}, " on the shelf"),
      h("span", "list", { "class": "ser" }, row.shelf.map(function (each, at) {
        return each.href ? h("span", at, { "class": "nw" }, some([h("a", 1, { href: each.href }, each.serial), each.batch ? h("span", 2, {}, " " + each.batch) : null, each.weak ? h("a", 3, { href: each.life, "class": "weak" }, " " + each.weak) : null])) : h("span", at, {}, each.batch);
      }))]);
  }

  function wantedRow(page, row) {
    return h("li", row.key, { "class": "row", id: row.key }, [
      h("div", "what", { "class": "what" }, [
        h("p", "line1", { "class": "line1" }, [h("b", 1, { "class": "nw" }, row.name), h("b", 2, { "class": "nw" }, row.size), h("span", 3, { "class": "quiet" }, row.places)]),
        shelf(row)]),
      axis(page, row.marks.map(function (mark, at) {
        return h("span", "m" + at, { "class": mark.none ? "wk-n none" : "wk-n", "aria-hidden": "true", style: "left:" + mark.left + "%" }, mark.text);
      }).concat(row.orders.map(function (each) { return h("span", "o" + each.key, { "class": "ordered", "aria-hidden": "true", style: "left:" + each.left + "%" }, each.text); }),
        [h("span", "spoken", { "class": "sr" }, row.spoken)]),
        [path("outline", row.perhaps), path("ink", row.likely), path("back", row.returns)]),
      h("div", "with", { "class": "with" }, some([h("p", 1, { "class": row.tone }, row.says), words("p", 2, "doubt", row.note)]))]);
  }

  function key() {
    return h("p", "key", { "class": "key5" }, [
      h("svg", "fig", { viewBox: "0 0 60 34", width: 60, height: 34, "aria-hidden": "true" }, [
        h("path", 1, { d: "M10 30V6H24V30Z", "class": "outline" }), h("path", 2, { d: "M10 30V18H24V30Z", "class": "ink" }), h("path", 3, { d: "M36 16V26H56V16", "class": "back" })]),
      h("span", "w", { "class": "quiet" }, "Uprights: enough in that week with chance 50 % (ink) and 90 % (outline), in figures above. Blue bracket: back from rework, from the day promised to the day by which nine in ten are back, in a size that is open until it is ground.")]);
  }

  function wanted(page) {
    var made = page.wanted;
    return it.panel(made, made.rows ? [
      h("ol", "rows", { "class": "rows axrows need" }, made.rows.map(function (row) { return wantedRow(page, row); })), key(),
      h("p", "as", { "class": "tools" }, [h("button", 1, { type: "button", "class": "link", "data-open": "demand", "aria-expanded": String(made.open) }, "As a table"),
        h("button", 2, { type: "button", "class": "link", "data-csv": "demand", "aria-label": "CSV of what is wanted" }, "CSV")]),
      made.open ? it.table(made.table) : h("span", "no", {}, "")] : []);
  }

  function awayRow(page, row) {
    return h("li", row.key, { "class": "row" }, [
      h("div", "what", { "class": "what" }, [
        h("p", "line1", { "class": "line1" }, some([h("a", 1, { href: row.href, "class": "nw" }, row.serial), h("span", 2, { "class": "nw" }, row.name), row.size ? h("span", 3, { "class": "quiet nw" }, row.size) : null, row.batch ? h("span", 4, { "class": "ser" }, row.batch) : null])),
        h("p", "says", { "class": row.tone }, row.says)]),
      axis(page, [h("span", "spoken", { "class": "sr" }, row.says)], [path("back", row.returns)]),
      h("div", "with", { "class": "with" }, some([words("p", 1, "quiet", row.sent), h("p", 2, { "class": "quiet" }, row.usual), row.enter ? h("p", 3, {}, [h("a", 1, { href: row.enter }, "Enter its size, back from rework")]) : null]))]);
  }

  function away(page) {
    var made = page.out;
    return it.panel(made, made.rows ? [h("ol", "rows", { "class": "rows axrows away2" }, made.rows.map(function (row) { return awayRow(page, row); }))] : []);
  }

  function listed(made) {
    return it.panel(made, made.table ? some([it.table(made.table),
      made.more ? h("p", "more", { "class": "tools" }, [h("button", 1, { type: "button", "class": "link", "data-open": made.key, "aria-expanded": String(made.open) }, made.open ? "Fewer" : made.more)]) : null]) : []);
  }

  it.views["tool-room"] = function (page) {
    if (page.away) { return it.sheet(page, "Tool room", [it.awayPart(page)]); }
    return it.sheet(page, "Tool room", [
      h("p", "top", { "class": "says top" }, some([words("b", 1, "", page.top.lead), words("span", 2, "", " " + page.top.rest)])),
      listed(page.bench), listed(page.ready), it.axisHead(page), wanted(page), away(page), listed(page.orders)]);
  };
})();

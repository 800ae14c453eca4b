/* One tool's whole life. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;

  function title(page) {
    var top = page.top;
    if (!top) { return h("div", "title", { "class": "title" }, [h("h1", "h1", {}, page.serial)]); }
    return h("div", "title", { "class": "title" }, [
      h("h1", "h1", {}, [h("span", 1, { "class": "nw" }, top.serial), h("small", 2, {}, " " + top.name)]),
      h("span", "state", { "class": "big" }, [top.mark ? it.state(top.mark, top.word) : h("b", "w", {}, top.word)]),
      h("p", "why", { "class": "why" }, [h("b", 1, {}, top.lead), h("span", 2, {}, " " + top.rest)]),
      h("p", "figures", { "class": "quiet figures" }, top.figures.map(function (text, at) { return h("span", at, {}, text); })),
      h("p", "ways", { "class": "toolways" }, some([
        top.press ? h("a", 1, { href: top.press }, "Press " + top.press_id) : null,
        top.life ? h("a", 2, { href: top.life }, "Lives of its kind there") : null,
        top.entry ? h("a", 3, { href: top.entry }, "Enter something of it") : null]))]);
  }

  function runLine(line) {
    return h("div", "run", { "class": "runline" }, [h("p", "sr", { "class": "sr" }, line.spoken),
      h("div", "track", { "class": "runtrack", "aria-hidden": "true" }, line.bars.map(function (bar) {
        return h("span", bar.key, { "class": "runbar", style: "left:" + bar.left + "%;width:" + bar.width + "%", title: bar.text }, "");
      }).concat(line.events.map(function (each) { return h("span", "e" + each.key, { "class": "runevent", style: "left:" + each.left + "%", title: each.text }, ""); }))),
      h("p", "ends", { "class": "runends", "aria-hidden": "true" }, line.ends.map(function (text, at) { return h("span", at, {}, text); }))]);
  }

  function ramps(made) {
    return h("div", "ramps", { "class": "pastramps" }, [h("p", "t", { "class": "quiet" }, made.title),
      h("ul", "rows", {}, made.rows.map(function (each) {
        return h("li", each.key, {}, [h("span", 1, { "class": "when" }, each.when),
          h("span", 2, { "class": "past", "aria-hidden": "true" }, some([
            h("span", 1, { "class": "age", style: "width:" + each.age + "%" }, ""),
            h("span", 2, { "class": "span", style: "left:" + each.low + "%;width:" + Math.max(each.high - each.low, 0.3) + "%" }, ""),
            h("span", 3, { "class": "half", style: "left:" + each.middle + "%" }, ""),
            each.end === null ? null : h("span", 4, { "class": "came", style: "left:" + each.end + "%" }, "")])),
          h("span", 3, { "class": "sr" }, each.spoken)]);
      })), h("p", "ends", { "class": "runends", "aria-hidden": "true" }, made.ends.map(function (text, at) { return h("span", at, {}, text); }))]);
  }

  it.views.tool = function (page) {
    var parts = page.away ? [h("h1", "h1", { "class": "sr" }, "Tool"), it.awayPart(page)] : [title(page)].concat(page.panels.map(function (made) {
      return it.panel(made, some([made.line ? runLine(made.line) : null, made.chart ? it.chart(made.chart) : null, made.ramps ? ramps(made.ramps) : null, made.table ? it.table(made.table) : null]));
    }));
    return [it.markSheet(), it.head(page, false), it.ways(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet one" }, parts), h("footer", "foot", { "class": "foot" }, page.foot)];
  };
})();

/* Draws the page of one press from the board's one document, with the tools of board.js. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words, state = it.state;

  function left(place) { return "left:" + place + "%"; }
  function lines(list, name) { return list.map(function (text, at) { return h("p", at, { "class": name || "" }, text); }); }

  /* ---- the section, a slice a row ---- */
  function hatch() {
    return h("svg", "hatch", { "class": "marks", "aria-hidden": "true", width: 0, height: 0 }, [h("defs", 1, {}, [
      h("pattern", 1, { id: "hatch", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, [
        h("path", 1, { d: "M0 0H7V7H0Z", "class": "hatchbed" }), h("path", 2, { d: "M0 0V7", "class": "hatchline" })])])]);
  }

  function slice(shapes, name) {
    return h("div", name, { "class": "draw" }, [h("svg", "s", { viewBox: "0 0 196 66", preserveAspectRatio: "none", "aria-hidden": "true" }, shapes.map(function (shape, at) {
      var attrs = { "class": shape.c, d: shape.d };
      if (shape.w) { attrs.style = "stroke-width:" + shape.w; }
      if (/\bsec\b/.test(shape.c)) { attrs.fill = "url(#hatch)"; }
      return h("path", at, attrs);
    }))]);
  }

  /* ---- what a figure opens to ---- */
  function table(key, made) {
    return h("table", key, { "class": "plain" }, [
      h("thead", 1, {}, [h("tr", 1, {}, made.head.map(function (text, at) { return h("th", at, { scope: "col" }, text); }))]),
      h("tbody", 2, {}, made.rows.map(function (row) {
        return h("tr", row.key, { "class": row.gone ? "gone" : "" }, row.cells.map(function (cell, at) {
          return h(at ? "td" : "th", at, at ? {} : { scope: "row" }, cell);
        }));
      }))]);
  }

  function blocks(list) {
    return list.map(function (block) {
      return h("div", block.title, { "class": block.table ? "block wide" : "block" }, some([h("h3", "t", {}, block.title)].concat(
        lines(block.says), [block.table ? table("table", block.table) : null])));
    });
  }

  function opener(key, text, open, name) {
    return h("button", key, { type: "button", "class": name || "link", "data-open": key, "aria-expanded": String(open) }, text);
  }

  /* ---- rows ---- */
  function reading(row) {
    var read = row.read, track = read.track;
    return h("div", "read", { "class": "read" + (read.act ? " hot" : "") }, some([
      track ? h("svg", "track", { viewBox: "0 0 170 22", preserveAspectRatio: "xMinYMid meet", "aria-hidden": "true" }, some([
        h("path", "line", { "class": "trackline", d: "M4 12H164" }), h("path", "limit", { "class": "tracklimit", d: "M150 2V21" }),
        track.bar ? h("path", "bar", { "class": "trackbar", d: track.bar }) : null,
        h("circle", "dot", { "class": "trackdot", cx: track.dot, cy: 12, r: 5 })])) : null,
      words("p", "text", read.act ? "act" : read.doubt ? "flag" : "", read.text), words("p", "asks", "flag", row.asks)]));
  }

  function row(page, each) {
    return h("li", each.key, { "class": it.rowClass(each, "") }, [
      slice(each.part, "draw"),
      h("div", "what", { "class": "what" }, [
        h("p", "line1", { "class": "line1" }, [opener(each.key, each.label, each.open, "pos opens"), state(each.mark, each.word)]),
        h("p", "ser", { "class": "ser" }, some([
          h("span", "m", { "class": each.serial.length < 16 ? "nw" : "" }, some([each.serial, each.strokes]).join(" · ")),
          each.hidden ? h("span", "hid", { "class": "nw flag" }, " " + each.hidden) : null])),
        each.range ? h("p", "sp", { "class": "ser sp" }, each.range) : h("p", "sp", { "class": "sp" }, "")]),
      reading(each),
      h("div", "axis", { "class": "axis" }, some([it.ramp(page, each, "whole"), words("span", "cap", "cap doubt", each.cap),
        h("span", "spoken", { "class": "sr" }, each.spoken)].concat(each.figures.map(function (fig, at) {
        return h("span", at, { "class": fig.next && each.mark !== "fine" ? "ch next" : "ch", "aria-hidden": "true", style: left(fig.left) }, fig.text);
      })))),
      h("div", "with", { "class": "with" }, some([
        each.range ? h("p", "range", {}, some([h("b", 1, { "class": "nw" }, each.range), each.half ? h("span", 2, {}, ", ") : null, each.half ? h("span", 3, { "class": "nw" }, each.half) : null])) : null,
        words("p", "basis", "quiet", each.basis)]))
    ]);
  }

  function under(each) {
    return h("li", each.key + " opened", { "class": "row opened" }, [slice(each.below, "draw"), h("div", "blocks", { "class": "blocks" }, blocks(each.opened))]);
  }

  function axisHead(page) {
    var axis = page.axis;
    return h("div", "axhead", { "class": "axhead loose" }, [
      h("div", "draw", { "class": "draw" }, [h("p", "sr", { "class": "sr" }, axis.drawing)]),
      h("div", "what", { "class": "what" }, axis.note), h("div", "read", { "class": "read" }, axis.read),
      h("div", "axis", { "class": "axis none" }, some([
        h("svg", "weeks", { viewBox: "0 0 " + axis.span + " 100", preserveAspectRatio: "none", "aria-hidden": "true" }, [h("path", "wk", { "class": "wk", d: axis.weeks })]),
        h("span", "now", { "class": "day first" }, "now"), words("span", "none", "day low", axis.empty)
      ].concat(axis.days.map(function (day) { return h("span", day.text, { "class": "day", style: left(day.left) }, day.text); }),
        axis.flags.map(function (flag) {
          return h("span", flag.key, { "class": "stop" + (flag.long ? " long" : ""), style: "left:max(27px," + flag.left + "%)" }, flag.text);
        })))),
      h("div", "with", { "class": "with" }, axis["with"])]);
  }

  function stack(page) {
    var made = page.stack;
    return h("section", "stack", { "class": "stack", "aria-labelledby": "h-stack" }, some([
      h("h2", "t", { "class": "sr", id: "h-stack" }, "Tools in machine order"), axisHead(page),
      words("p", "fault", "says", made.fault),
      h("ol", "rows", { "class": "rows do" }, made.rows.reduce(function (all, each) {
        return all.concat(each.open ? [row(page, each), under(each)] : [row(page, each)]);
      }, []))]));
  }

  /* ---- figures of sixty days ---- */
  function figure(key, fig, paths) {
    return h("div", key, { "class": fig.labels ? "fig" : "fig plainfig" }, [
      h("div", "ys", { "class": "ys", "aria-hidden": "true" }, fig.ticks.map(function (tick) { return h("span", tick.text, { style: "top:" + tick.top + "%" }, tick.text); })),
      h("div", "plot", { "class": "plot" }, [
        h("svg", "svg", { viewBox: "0 0 1000 100", preserveAspectRatio: "none", role: "img", "aria-label": fig.spoken || fig.says }, [h("path", "grid", { "class": "gr", d: fig.grid })].concat(
          some(paths.map(function (each) { return each[1] ? h("path", each[0], { "class": each[0], d: each[1] }) : null; })))),
        h("div", "labels", { "class": "lanes" }, (fig.labels || []).map(function (label) {
          return h("span", label.text, { "class": label.back ? "back" : "", style: left(label.left) + ";top:" + 18 * label.lane + "px" }, label.text);
        }))]),
      h("div", "xs", { "class": "xs" }, fig.days.map(function (day) { return h("span", day.text, { style: left(day.left) }, day.text); })),
      h("p", "says", { "class": "figsays" }, fig.says)]);
  }

  function roughPart(page) {
    var made = page.rough, fig = made.figure;
    return h("section", "rough", { "class": "rough", "aria-labelledby": "h-rough" }, some([
      h("h2", "t", { id: "h-rough" }, "How the ram runs, 60 days"),
      fig ? figure("fig", fig, [["base", fig.own], ["ev", fig.events], ["dots60", fig.dots]]) : null,
      words("p", "empty", "says", made.empty)].concat(
      made.after.length ? [h("p", "after", { "class": "after" }, made.after.join(" "))] : [],
      [h("p", "tools", { "class": "tools" }, some([fig ? opener("days", "Table of days", made.days_open) : null, opener("events", "All changes", made.events_open)]))],
      [h("div", "opened", { "class": "blocks" }, blocks(made.days.concat(made.events)))])));
  }

  function flags(made) {
    if (made.empty) { return h("p", "flags", { "class": "says" }, made.empty); }
    return h("div", "flags", {}, some([h("table", "table", { "class": "plain" }, [
      h("caption", "c", { "class": "sr" }, "Flags of this press"),
      h("thead", 1, {}, [h("tr", 1, {}, [["Flag", ""], ["Between", ""], ["Counted", "r"], ["May hide", "r"], ["Settled", ""]].map(function (each) {
        return h("th", each[0], { scope: "col", "class": each[1] }, each[0]);
      }))]),
      h("tbody", 2, {}, made.rows.reduce(function (all, each) {
        return all.concat([h("tr", each.key, { "class": "flagrow" }, [
          h("th", 1, { scope: "row", "class": each.open ? "flag" : "" }, each.name),
          h("td", 2, {}, each.when), h("td", 3, { "class": "r" }, each.counted),
          h("td", 4, { "class": each.open ? "r flag" : "r" }, each.hides), h("td", 5, { "class": each.open ? "flag" : "" }, each.settled)]),
        h("tr", each.key + " rule", {}, [h("td", 1, { colspan: 5, "class": "rule" }, each.rule)])]);
      }, []))]),
      made.more ? h("p", "tools", { "class": "tools" }, [opener("flags", made.more, made.whole)]) : null]));
  }

  function countPart(page) {
    var made = page.count, fig = made.figure;
    return h("section", "count", { "class": "count", "aria-labelledby": "h-count" }, some([
      h("h2", "t", { id: "h-count" }, "Counter record"),
      fig ? figure("fig", fig, [["upright", fig.bars], ["upright light", fig.light]]) : null,
      words("p", "empty", "says", made.empty), words("p", "fault", "says short", made.fault),
      words("p", "stands", "stands flag", made.stands), made.flags ? flags(made.flags) : null,
      h("p", "after", { "class": "after" }, made.after.join(" "))]));
  }

  function title(page) {
    var top = page.top;
    return h("div", "title", { "class": "title" }, [
      h("h1", "h1", {}, [h("span", 1, { "class": "nw" }, top.id), h("small", 2, {}, " " + top.name)]), h("span", "state", { "class": "big" }, [state(top.mark, top.word)]),
      h("p", "why", { "class": "why" }, [h("b", 1, {}, top.lead), h("span", 2, {}, " " + top.rest)]),
      h("p", "figures", { "class": "quiet figures" }, top.figures.map(function (line, at) { return h("span", at, { "class": at === 0 && top.silent ? "gap" : "" }, line); }))]);
  }

  it.slice = slice; it.hatch = hatch;

  it.views.press = function (page) {
    var body = page.away ? [h("h1", "h1", { "class": "sr" }, page.title), it.awayPart(page)]
      : [title(page), stack(page), h("div", "two", { "class": "two" }, [roughPart(page), countPart(page)])];
    return [it.markSheet(), hatch(), it.head(page, false), it.ways(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet" }, body), h("footer", "foot", { "class": "foot" }, page.foot)];
  };
})();

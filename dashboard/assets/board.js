/* Draws the board's one document, keyed: nodes, focus and scroll outlive a refresh.
   No figure is made here; every word and every place comes from Python. */
(function () {
  "use strict";
  var SVG = "http://www.w3.org/2000/svg";
  var DRAWN = { svg: 1, path: 1, use: 1, symbol: 1, circle: 1, rect: 1, defs: 1, pattern: 1 };
  var views = {}; /* drawn elsewhere: name to function of the document */
  var after = {}; /* called once a view is drawn, by name */
  var ANSWER_MS = 12000; /* then a post counts as unanswered */
  var UNHEARD = 4; /* questions without an answer until the screen says so */
  var shown = { digest: null, page: null, heard: 0, at: "", open: [], turn: 0, params: {} };

  /* ---- keyed drawing: a node is [tag, key, attributes, text or children] ---- */
  function h(tag, key, attrs, kids) { return [tag, key, attrs || {}, kids === undefined ? [] : kids]; }

  function make(tag) { return DRAWN[tag] ? document.createElementNS(SVG, tag) : document.createElement(tag); }

  function dress(node, attrs) {
    var worn = node.worn || {};
    Object.keys(worn).forEach(function (name) { if (!(name in attrs)) { node.removeAttribute(name); } });
    Object.keys(attrs).forEach(function (name) {
      if (worn[name] !== attrs[name]) { node.setAttribute(name, attrs[name]); }
    });
    node.worn = attrs;
  }

  function fill(node, kids) {
    if (typeof kids === "string") {
      if (node.textContent !== kids || node.kept) { node.textContent = kids; node.kept = null; }
      return;
    }
    var old = node.kept || new Map();
    if (!node.kept && node.firstChild) { node.textContent = ""; }
    var kept = new Map();
    kids.forEach(function (kid) {
      var child = old.get(kid[1]);
      if (!child || child.sort !== kid[0]) { child = make(kid[0]); child.sort = kid[0]; }
      kept.set(kid[1], child);
      dress(child, kid[2]);
      fill(child, kid[3]);
    });
    old.forEach(function (child, key) { if (kept.get(key) !== child) { child.remove(); } });
    var place = node.firstChild;
    kept.forEach(function (child) {
      if (child === place) { place = place.nextSibling; } else { node.insertBefore(child, place); }
    });
    node.kept = kept;
  }

  function some(list) { return list.filter(Boolean); }
  function words(tag, key, name, text) { return text ? h(tag, key, { "class": name }, text) : null; }

  /* ---- marks: the axis in small, five shapes for five words ---- */
  var MARKS = {
    fine: [["path", { d: "M2 10H24" }], ["circle", { cx: 5, cy: 10, r: 3.4, "class": "solid" }]],
    plan: [["path", { d: "M23 2V18M2 10H8" }], ["path", { d: "M8 4.5 15 10 8 15.5Z" }]],
    stop: [["path", { d: "M23 2V18", "stroke-width": 3 }], ["path", { d: "M7 2 21 10 7 18Z", "class": "solid" }], ["path", { d: "M1 10H8" }]],
    over: [["path", { d: "M8 1V19", "stroke-width": 3 }], ["path", { d: "M1 10H12" }], ["rect", { x: 12, y: 3.5, width: 13, height: 13, "class": "solid" }]],
    doubt: [["path", { d: "M1 10H5M21 10H25", "stroke-dasharray": "2 2" }], ["path", { d: "M9.2 7.2c0-2.6 1.7-4 3.9-4s3.9 1.4 3.9 3.7c0 3-3.8 2.8-3.8 6", "stroke-width": 2.4 }], ["circle", { cx: 13.2, cy: 17, r: 1.7, "class": "solid" }]]
  };

  function markSheet() {
    return h("svg", "marks", { "class": "marks", "aria-hidden": "true", width: 0, height: 0 }, Object.keys(MARKS).map(function (name) {
      return h("symbol", name, { id: "mark-" + name, viewBox: "0 0 26 20" }, MARKS[name].map(function (part, at) { return h(part[0], at, part[1]); }));
    }));
  }

  function state(mark, word) {
    if (!mark) { return h("span", "state", { "class": "state none" }); }
    return h("span", "state", { "class": "state s-" + mark }, [
      h("svg", "mark", { viewBox: "0 0 26 20", "aria-hidden": "true" }, [h("use", "use", { href: "#mark-" + mark })]),
      h("span", "word", {}, word)
    ]);
  }

  /* ---- the axis of one row ---- */
  function path(name, data) { return data ? h("path", name, { "class": name, d: data }) : null; }

  function ramp(page, row, name) {
    var p = row.paths || {};
    var stops = row.stops || (page.lines || {})[row.line] || {};
    return h("svg", "ramp", { "class": name, viewBox: "0 0 " + page.axis.span + " 100", preserveAspectRatio: "none", "aria-hidden": "true" }, some([
      name === "whole" ? path("wk", page.axis.weeks) : null,
      path("hot", p.hot), path("cool", p.cool), path("rim", p.rim), path("ghost", p.ghost),
      stops.next ? h("path", "next", { "class": "st next", d: stops.next }) : null, path("st", stops.later),
      path("dots", p.dots), path("run", p.run), path("bar", p.bar), path("risk", p.risk), path("pq", p.pq), path("p50", p.p50),
      path("back", row.back)
    ]));
  }

  /* ---- head, bar, foot ---- */
  function head(page, wall) {
    var it = page.head;
    var brand = h("p", "name", { "class": "name" }, [
      h("svg", "sign", { viewBox: "0 0 40 12", "aria-hidden": "true" }, [
        h("path", 1, { d: "M1 9H39", stroke: "currentColor", "stroke-width": 1.6 }),
        h("path", 2, { d: "M12 9 30 1V9Z", fill: "currentColor" }),
        h("path", 3, { d: "M33 0V12", stroke: "currentColor", "stroke-width": 2.4 })]),
      h("span", "brand", {}, "Duestroke"), h("span", "site", { "class": "site quiet" }, it.site)]);
    var now = h("p", "now", { "class": "now" }, some([h("span", "t", {}, it.now), h("small", "o", {}, it.offset), words("small", "s", "shift", it.shift)]));
    var counts = h("p", "data", { "class": "data" }, some([
      it.counts ? h("span", "upto", { "class": "nw" }, [h("span", 1, {}, "counts up to "), h("b", 2, {}, it.counts)]) : null,
      it.reporting ? h("span", "rep", { "class": "nw rep" + (it.counts ? " dot" : "") }, it.reporting) : null,
      it.gap ? h("span", "gap", { "class": "gap" }, it.gap) : null]));
    return h("header", "head", { "class": "head" }, wall ? [now, tally(page), counts] : [brand, now, counts]);
  }

  function tally(page) {
    return h("p", "tally", { "class": "tally", role: "status" }, (page.tally || []).map(function (each) {
      return h("span", each.mark, { "class": "nw" }, [state(each.mark, each.word), h("b", "n", {}, " " + each.count)]);
    }));
  }

  function bar(page) {
    return h("div", "bar", { "class": page.bar ? "stale" : "", role: "status" }, page.bar
      ? [h("b", 1, {}, page.bar.lead), h("span", 2, {}, " " + page.bar.rest)] : []);
  }

  function lostBar() {
    return h("div", "lost", { "class": shown.lost ? "stale" : "", role: "status" }, shown.lost
      ? [h("b", 1, {}, "No data since " + shown.at + "."), h("span", 2, {}, " " + shown.words)] : []);
  }

  /* ---- desk ---- */
  function axisHead(page) {
    var it = page.axis;
    var high = 29 + 19 * Math.max(it.lanes, 1);
    return h("div", "axhead", { "class": "axhead" + (it.lanes > 6 ? " loose" : "") }, [
      h("div", "what", { "class": "what" }, it.note.map(function (line, at) { return h("p", at, {}, line); })),
      h("div", "axis", { "class": "axis none", style: "height:" + high + "px" }, [
        h("svg", "weeks", { viewBox: "0 0 " + it.span + " 100", preserveAspectRatio: "none", "aria-hidden": "true" }, [path("wk", it.weeks)]),
        h("span", "now", { "class": "day first" }, "now")
      ].concat(it.days.map(function (day) {
        return h("span", day.text, { "class": "day", style: "left:" + day.left + "%" }, day.text);
      }), it.flags.map(function (flag) {
        return h("span", flag.key, { "class": flag.long ? "stop long" : "stop", "aria-hidden": "true", style: "left:" + flag.left + "%;top:" + (26 + 19 * flag.lane) + "px" }, flag.text);
      }))),
      h("div", "with", { "class": "with" }, page.view === "desk" ? [h("p", 1, {}, "The spare, and when it is due,"), h("p", 2, {}, "or how the press runs")] : [h("p", 1, {}, "When it is due,"), h("p", 2, {}, "or how the press runs")])
    ]);
  }

  function band(id, title, kids) {
    return h("div", "band", { "class": "band" }, some([h("h2", "t", { id: id }, title)].concat(kids)));
  }

  function rowClass(row, more) {
    return "row" + (row.quiet ? " quietrow" : "") + (Object.keys(row.paths).length ? "" : " bare") + more;
  }

  function rowId(press) { return "press-" + press.replace(/\//g, "-"); }

  function doRow(page, row) {
    return h("li", row.key, { "class": rowClass(row, "") }, [
      h("div", "what", { "class": "what" }, [
        h("p", "line1", { "class": "line1" }, some([
          h("a", "id", { "class": "id", href: "/press/" + row.press }, row.id), state(row.mark, row.word),
          h("span", "pos", { "class": "pos" }, row.label),
          row.serial ? h("a", "ser", { "class": "ser", href: "/tool/" + row.serial }, row.serial) : null, words("span", "m", "ser", row.strokes)])),
        h("p", "why", { "class": "why" }, some([h("span", 1, {}, row.why), h("a", 3, { "class": "basis nw", href: row.basis_at }, row.basis), row.enter ? h("a", 2, { "class": "enter", href: row.enter.href }, row.enter.word) : null]))]),
      h("div", "axis", { "class": "axis" }, some([ramp(page, row, "whole"), words("span", "cap", "cap doubt", row.cap),
        h("span", "spoken", { "class": "sr" }, row.spoken)].concat(row.figures.map(function (fig, at) {
        return h("span", at, { "class": fig.next ? "ch next" : "ch", "aria-hidden": "true", style: "left:" + fig.left + "%" }, fig.text);
      })))),
      h("div", "with", { "class": "with" }, some([
        spare(row.spare), row.range ? h("p", "range", {}, some([h("b", 1, { "class": "nw" }, row.range), row.half ? h("span", 2, {}, ", ") : null, row.half ? h("span", 3, { "class": "nw" }, row.half) : null])) : null]))
    ]);
  }

  /* What would go in: its serial leads to its page; where none is there, the words call. */
  function spare(it) {
    return h("p", "spare", { "class": it.lead || it.serial ? "spare" : "spare " + it.tone }, some([words("b", 1, it.tone, it.lead), h("span", 2, {}, it.lead ? " " : ""),
      it.serial ? h("a", 3, { "class": "nw", href: "/tool/" + it.serial }, it.serial) : null, h("span", 4, {}, (it.serial ? " " : "") + it.text)]));
  }

  function doList(page) {
    var it = page["do"];
    return h("section", "do", { "aria-labelledby": "h-do" }, some([
      band("h-do", "Do this shift", [h("p", "say", {}, it.say), it.more ? h("button", "more", { type: "button", "class": "link", "data-open": "do", "aria-expanded": String(it.whole) }, it.more) : null]),
      it.empty ? h("p", "empty", { "class": "says" }, it.empty) : null,
      words("p", "note", "says quiet", it.note),
      it.fault ? h("p", "fault", { "class": "says", role: "status" }, [h("b", 1, { "class": "short" }, "Ranges could not be drawn."), h("span", 2, {}, " " + it.fault + " "), again()]) : null,
      h("ol", "rows", { "class": "rows do" }, it.rows.map(function (row) { return doRow(page, row); }))
    ]));
  }

  function again() { return h("button", "again", { type: "button", "class": "link", "data-again": "1" }, "Try again"); }

  function measure(each) {
    return some([each.vessel ? h("span", "v" + each.key, { "class": "vat" + (each.next ? " first" : "") + (each.over ? " over" : ""), "aria-hidden": "true", style: "left:" + each.left + "%" }, [h("i", 1, { style: "height:" + each.fill + "%" })]) : null,
      each.count ? h("span", "n" + each.key, { "class": "n", "aria-hidden": "true", style: "left:" + each.left + "%" }, [h("b", 1, {}, each.count), h("span", 2, {}, each.room)]) : null]);
  }

  function stopRow(page, row) {
    return h("li", row.key, { "class": "row" }, [
      h("div", "what", { "class": "what" }, [
        h("p", 1, {}, some([h("b", 1, { "class": "nw" }, row.name), h("span", 2, {}, " · "), h("b", 3, { "class": "nw" }, row.when), row.ahead ? h("span", 4, { "class": "nw" }, " · " + row.ahead) : null])),
        h("p", 2, { "class": "quiet names" }, row.tools.map(function (each, at) {
          return h("span", each.key, { "class": "nw" }, [h("a", 1, { href: each.href }, each.id), h("span", 2, {}, " " + each.text + (at < row.tools.length - 1 ? "," : ""))]);
        }).concat(some([words("span", "more", "nw", row.more)])))]),
      h("div", "axis", { "class": "axis" }, [ramp(page, row, "whole"), h("span", "spoken", { "class": "sr" }, row.spoken)].concat(row.measures.reduce(function (all, each) { return all.concat(measure(each)); }, []))),
      h("div", "with", { "class": "with" }, row["with"].map(function (each, at) { return h("p", at, { "class": each.tone || "quiet" }, each.text); }))
    ]);
  }

  function stopList(page) {
    var it = page.stops;
    return h("section", "stops", { "aria-labelledby": "h-stops" }, some([
      band("h-stops", "The stops of each line", [words("p", "say", "", it.say)]),
      it.empty ? h("p", "empty", { "class": "says" }, it.empty) : null,
      h("ol", "rows", { "class": "rows load" }, it.rows.map(function (row) { return stopRow(page, row); }))
    ]));
  }

  /* ---- since your last shift: four lists side by side ---- */
  function latelyList(it) {
    return h("div", it.key, { "class": "lately-" + it.key }, some([
      h("h3", "t", {}, it.title), words("p", "old", "doubt", it.old), words("p", "fault", "act", it.fault),
      h("ol", "l", {}, it.items.map(function (each) {
        return h("li", each.key, {}, [h("a", 1, { href: each.href }, [h("b", 1, { "class": "nw" }, each.id), h("span", 2, each.loud ? { "class": "loud" } : {}, " " + each.text)])]);
      })),
      it.more ? h("button", "more", { type: "button", "class": "link", "data-open": it.key, "aria-expanded": String(it.whole), "aria-label": it.more + ", " + it.title }, it.more) : null]));
  }

  function latelySection(page) {
    var it = page.lately;
    return h("section", "lately", { "aria-labelledby": "h-lately" }, [
      band("h-lately", "Since your last shift", [h("p", "say", {}, it.say)]),
      it.empty ? h("p", "empty", { "class": "says" }, it.empty) : h("div", "four", { "class": "four" }, it.lists.map(latelyList))]);
  }

  function pressRow(page, row) {
    var tool = !row.id;
    var id = tool ? h("span", "id", { "class": "id" }, row.id) : h("a", "id", { "class": "id", href: "/press/" + row.press }, row.id);
    var label = row.opens
      ? h("button", "lbl", { type: "button", "class": "lbl opens", "data-open": row.press, "aria-expanded": String(row.open), "aria-label": row.label + ", and all tools of " + row.id }, row.label)
      : h("span", "lbl", { "class": "lbl" }, row.label);
    var name = rowClass(row, (row.group ? " group" : "") + (tool ? " tool" : ""));
    var attrs = { "class": name };
    if (!tool) { attrs.id = rowId(row.press); }
    return h("li", row.key, attrs, [
      h("div", "what", { "class": "what" }, [
        id, state(row.mark, row.word), label,
        h("span", "m", { "class": "quiet m" }, row.strokes),
        h("span", "c", { "class": row.quiet ? "c quiet" : "c act" }, row.chance)]),
      h("div", "axis", { "class": "axis" }, [ramp(page, row, "whole"), h("span", "spoken", { "class": "sr" }, row.spoken)]),
      h("div", "with", { "class": "with" }, [h("span", 1, { "class": row["with"].tone }, row["with"].text)])
    ]);
  }

  function fleet(page) {
    var it = page.fleet;
    return h("section", "fleet", { "aria-labelledby": "h-all" }, some([
      band("h-all", "All presses", [h("p", "say", {}, some([h("span", 1, {}, it.say), it.tally ? h("span", 2, { role: "status" }, ": " + it.tally) : null])), null]),
      it.empty ? h("p", "empty", { "class": "says" }, it.empty) : null,
      h("ol", "rows", { "class": "rows fleet" }, it.rows.map(function (row) { return pressRow(page, row); }))
    ]));
  }

  function key(page) {
    return h("div", "key", {}, [
      h("p", "five", { "class": "key5" }, page.key.map(function (each) {
        return h("span", each[0], { "class": "pair" }, [state(each[0], each[1]), h("span", "q", { "class": "quiet" }, each[2])]);
      })),
      h("p", "read", { "class": "key5" }, [
        h("svg", "fig", { "class": "keyfig", width: 190, height: 34, viewBox: "0 0 190 34", "aria-hidden": "true" }, [
          h("path", 1, { d: "M4 26H140", "class": "run" }), h("path", 2, { d: "M140 26H186", "class": "dots" }),
          h("path", 3, { d: "M38 26L46 24L60 20V26Z", "class": "hot" }), h("path", 4, { d: "M60 26V20L92 13L140 5V26Z", "class": "cool" }),
          h("path", 5, { d: "M60 0V34", "class": "st next" }), h("path", 6, { d: "M48 26H140", "class": "bar" }),
          h("path", 7, { d: "M48 21V31M140 5V31", "class": "pq" }), h("path", 8, { d: "M92 13V31", "class": "p50" })]),
        h("span", "q", { "class": "quiet" }, page.read)])
    ]);
  }

  /* What the role may see, then the other sites; on the right the wall, and who is signed in. */
  function ways(page) {
    var links = page.ways || [];
    function link(each) {
      var attrs = { href: each.href };
      if (each.here) { attrs["aria-current"] = "page"; }
      return h("a", each.href, attrs, each.word);
    }
    return h("nav", "ways", { "class": "ways", "aria-label": "Pages" }, links.filter(function (each) { return !each.key; }).map(link)
      .concat([h("span", "far", { "class": "far" }, links.filter(function (each) { return each.key; }).map(link).concat(mine(page.me || {})))]));
  }

  /* Entries that wait in this tablet are sent on the page on which they are made. */
  function waiting() {
    var list = [];
    try { list = JSON.parse(window.localStorage.getItem("duestroke-kept")) || []; } catch (fault) { list = []; }
    return list.length ? [h("a", "kept", { "class": "kept", href: "/entry" }, list.length === 1 ? "1 entry kept" : list.length + " entries kept")] : [];
  }

  function mine(me) {
    if (me.signed) {
      return waiting().concat([h("span", "me", { "class": "me quiet nw" }, me.name + " · " + me.role), h("button", "out", { type: "button", "class": "link", "data-out": "1" }, "Sign out")]);
    }
    var here = window.location.pathname + window.location.search;
    return window.location.pathname === "/sign-in" ? [] : waiting().concat([h("a", "in", { "class": "in", href: "/sign-in?next=" + encodeURIComponent(here) }, "Sign in")]);
  }

  /* The session has ended: said in place, and ended again in place; nothing typed is lost. */
  function endedBar(page) {
    if (!(page.me || {}).ended && !shown.ended) { return h("div", "ended", {}, []); }
    return h("div", "ended", { "class": "stale ended", role: "status" }, some([
      h("b", "t", {}, "Your session has ended."), h("span", "s", {}, " This page is as of " + shown.asOf + "; what is typed on it stays. "),
      h("form", "again", { "class": "signform", "data-sign": "stay" }, some([
        h("label", "l", { "for": "token-again" }, "Token "),
        h("input", "i", { id: "token-again", type: "password", name: "token", autocomplete: "off", required: "" }),
        h("button", "b", { type: "submit", "class": "small" }, "Sign in again"),
        h("button", "o", { type: "button", "class": "link", "data-out": "1" }, "Only look")])),
      words("p", "w", "act", shown.refused)]));
  }

  function awayPart(page) {
    return h("section", "away", { "class": "away" }, [h("p", 1, { "class": "says", role: "status" }, [
      h("b", 1, { "class": "short" }, page.away.lead), h("span", 2, {}, " " + page.away.rest + " "), page.view === "away" ? (page.away.sign_in ? h("a", "in", { href: "/sign-in?next=" + encodeURIComponent(window.location.pathname + window.location.search) }, "Sign in") : null) : again()].filter(Boolean))]);
  }

  /* The frame of every page: head, ways, bars, sheet, foot. `body`: nodes of the sheet. */
  function sheet(page, title, body) {
    return [markSheet(), h("h1", "h1", { "class": "sr" }, title), head(page, false), ways(page), endedBar(page), bar(page), lostBar(),
      h("main", "main", { "class": "sheet" }, body), h("footer", "foot", { "class": "foot" }, page.foot)];
  }

  function desk(page) {
    var body = page.away ? [axisHead(page), awayPart(page)] : [axisHead(page), doList(page), stopList(page), latelySection(page), fleet(page), key(page)];
    return sheet(page, "Shift", body);
  }

  views.away = function (page) { return sheet(page, page.title, [awayPart(page)]); };

  /* ---- wall ---- */
  function wallPress(page, row) {
    return h("li", row.key, { "class": rowClass(row, "").replace("row", "press") }, [
      ramp(page, row, "ramp"),
      h("p", "t", { "class": "t" }, [h("span", "id", { "class": "id" }, row.id), state(row.mark, row.word),
        h("span", "lbl", { "class": "lbl" + (row.label.length > 14 ? " tight" : "") }, some([h("span", 1, {}, row.label), row.chance ? h("b", 2, { "class": row.quiet ? "quiet" : "act" }, row.chance) : null]))]),
      h("span", "spoken", { "class": "sr" }, row.spoken)
    ]);
  }

  function column(page, it) {
    return h("section", it.key, { "class": "col " + it.set, "aria-label": it.name }, some([
      h("header", "head", {}, [
        h("h2", "n", {}, [h("span", 1, {}, it.name + " "), h("span", 2, { "class": "plainw" }, it.begins)]), h("p", "s", {}, it.says),
        h("span", "now", { "class": "d", style: "left:0" }, it.set === "tight" ? "" : "now")].concat(it.days.map(function (day) {
        return h("span", day.text, { "class": "d mid", style: "left:" + day.left + "%" }, day.text);
      }))),
      h("div", "body", { "class": "body" }, [
        h("svg", "weeks", { viewBox: "0 0 " + page.axis.span + " 100", preserveAspectRatio: "none", "aria-hidden": "true" }, [path("wk", page.axis.weeks)]),
        h("ol", "rows", {}, it.rows.map(function (row) { return wallPress(page, row); }))]),
      it.note ? h("div", "note", { "class": "note" }, [h("h3", "t", {}, it.note.title)].concat(it.note.lines.map(function (line, at) { return h("p", at, {}, line); }))) : null
    ]));
  }

  function wall(page) {
    var pages = page.pages || [];
    var at = pages.length ? shown.turn % pages.length : 0;
    var it = pages[at];
    var turn = it && pages.length > 1 ? "Page " + (at + 1) + " of " + pages.length + ". " : "";
    var main = page.away ? [awayPart(page)] : page.empty ? [h("p", "empty", { "class": "says" }, page.empty)]
      : it.columns.map(function (each) { return column(page, each); });
    return [markSheet(), h("h1", "h1", { "class": "sr" }, "Wall"), head(page, true), h("div", "bars", {}, [endedBar(page), bar(page), lostBar()]),
      h("main", "main", { "class": page.away || page.empty ? "" : "cols of" + page.columns }, main),
      h("footer", "strip", { "class": "strip" }, [h("span", 1, { "class": it && it.elsewhere ? "also" : "" }, turn + (it && it.elsewhere ? it.elsewhere : page.strip || "")), h("span", 2, { "class": "quiet" }, page.safe || "")])];
  }

  function render() {
    var root = document.getElementById("board");
    if (!root || !shown.page) { return; }
    var page = shown.page;
    var late = page.bar || shown.lost ? " late" : "";
    root.className = (page.view === "press" ? "one" : page.view) + late;
    if (document.title !== page.title) { document.title = page.title; }
    fill(root, (views[page.view] || desk)(page));
    if (after[page.view]) { after[page.view](page); }
    toPart();
  }

  /* A part that the address names is drawn after the browser has looked for it. */
  function toPart() {
    var part = !shown.came && window.location.hash.length > 1 && document.getElementById(decodeURIComponent(window.location.hash.slice(1)));
    if (part) { shown.came = true; part.scrollIntoView(); }
  }

  /* What only one page needs comes with it; the page is drawn once all of it is there. */
  var fetched = {};
  function fetchAll(list, then) {
    var waits = list.filter(function (url) { return fetched[url] !== "there"; });
    if (!waits.length) { then(); return; }
    var left = waits.length;
    waits.forEach(function (url) {
      function there() { fetched[url] = "there"; left -= 1; if (!left) { then(); } }
      if (fetched[url]) { fetched[url].addEventListener("load", there); return; }
      var css = /\.css\?/.test(url);
      var node = document.createElement(css ? "link" : "script");
      fetched[url] = node;
      node.addEventListener("load", there);
      if (css) { node.rel = "stylesheet"; node.href = url; } else { node.src = url; node.async = false; }
      document.head.appendChild(node);
    });
  }

  /* ---- signing in and out, and writing ---- */
  function post(path, body) {
    var headers = { "Content-Type": "application/json" };
    var check = ((shown.page || {}).me || {}).check;
    if (check) { headers["X-Duestroke-Check"] = check; }
    return window.fetch(path, { method: "POST", headers: headers, body: JSON.stringify(body), credentials: "same-origin", signal: AbortSignal.timeout(ANSWER_MS) }).then(function (answer) {
      return answer.json().then(function (told) { return { status: answer.status, told: told }; }, function () { return { status: answer.status, told: {} }; });
    });
  }

  /* Answers what the API said: {status, body, detail, errors}; status 0 where nothing was reached. */
  function write(call, body, params) {
    return post("/write", { call: call, body: body, params: params || {} }).then(function (answer) {
      if (answer.status === 200) { askNow(); return answer.told; }
      if (answer.status === 401) { shown.ended = true; render(); }
      return { status: answer.status, body: null, detail: answer.told.detail || "", errors: [] };
    }, function () { return { status: 0, body: null, detail: "", errors: [] }; });
  }

  /* `stay`: draw this page anew; else go on to where the screen came from. */
  function signIn(token, more, stay) {
    return post("/sign-in", Object.assign({ token: token }, more)).then(function (answer) {
      shown.refused = answer.status === 200 ? "" : answer.told.detail || "Not signed in.";
      if (answer.status === 200) { shown.ended = false; shown.digest = null; }
      if (answer.status === 200 && !stay) { window.location.assign(next()); } else { askNow(); render(); }
      return answer.status === 200;
    }, function () { shown.refused = "The board gave no answer. Try again."; render(); return false; });
  }

  function next() {
    var to = new URLSearchParams(window.location.search).get("next") || "/";
    return /^\/(?![\/\\])/.test(to) ? to : "/";
  }

  function signOut() {
    post("/sign-out", {}).then(function () { shown.ended = false; shown.digest = null; shown.refused = ""; askNow(); }, function () { askNow(); });
  }

  document.addEventListener("submit", function (event) {
    var form = event.target.closest("[data-sign]");
    if (!form) { return; }
    event.preventDefault();
    var field = form.elements.token;
    signIn(field.value, {}, form.getAttribute("data-sign") === "stay").then(function (done) { if (done) { field.value = ""; } });
  });

  /* A wall screen brings its token behind the #, which no server sees; it is taken out at once. */
  function wallToken() {
    var given = /^#token=(.+)$/.exec(window.location.hash);
    if (!given) { return; }
    window.history.replaceState(null, "", window.location.pathname + window.location.search);
    signIn(decodeURIComponent(given[1]), { wall: true }, true);
  }

  views.wall = wall;
  window.duestroke = {
    views: views, after: after, h: h, some: some, words: words, state: state, ramp: ramp, head: head, ways: ways, bar: bar, lostBar: lostBar, endedBar: endedBar,
    band: band, axisHead: axisHead, awayPart: awayPart, markSheet: markSheet, rowClass: rowClass, sheet: sheet, shown: shown, render: render, ask: askNow, write: write, signIn: signIn,
    now: function () { return shown.clock + window.performance.now(); }
  };

  /* ---- asking, hearing, and noticing that nothing is heard ---- */
  function question() {
    return { address: window.location.pathname + window.location.search, params: Object.assign({ columns: window.innerWidth < 1280 ? "2" : "3" }, shown.params), open: shown.open, digest: shown.digest, n: Date.now() };
  }

  function askNow() { window.dash_clientside.set_props("board-ask", { data: question() }); }

  document.addEventListener("click", function (event) {
    var open = event.target.closest && event.target.closest("[data-open]");
    if (open) {
      var name = open.getAttribute("data-open");
      var at = shown.open.indexOf(name);
      shown.open = at < 0 ? shown.open.concat([name]) : shown.open.filter(function (each) { return each !== name; });
      askNow();
    } else if (event.target.closest && event.target.closest("[data-again]")) { askNow();
    } else if (event.target.closest && event.target.closest("[data-out]")) { signOut(); }
  });

  window.setInterval(function () {
    var lost = shown.heard > 0 && Date.now() - shown.heard > 1000 * shown.every * UNHEARD;
    if (lost !== !!shown.lost) { shown.lost = lost; render(); }
  }, 1000);

  var turned = Date.now();
  window.setInterval(function () {
    var page = shown.page;
    if (page && page.view === "wall" && (page.pages || []).length > 1 && Date.now() - turned >= 1000 * page.turn_s) {
      turned = Date.now(); shown.turn += 1; render();
    }
  }, 1000);

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    board: {
      ask: function () { wallToken(); return question(); },
      draw: function (answer) {
        if (!answer) { return window.dash_clientside.no_update; }
        shown.heard = Date.now();
        shown.at = answer.at; shown.words = answer.lost; shown.every = answer.every_s;
        shown.lost = false;
        shown.clock = answer.clock - window.performance.now();
        if (!answer.page) { render(); return answer.digest; }
        if (!answer.page.keep) { shown.asOf = answer.at; }
        if (answer.page.keep && shown.page) {
          shown.page = Object.assign({}, shown.page, { me: answer.page.me }); shown.digest = answer.digest; render();
          return answer.digest;
        }
        fetchAll(answer.page.assets || [], function () { shown.page = answer.page; shown.digest = answer.digest; render(); });
        return answer.digest;
      }
    }
  });
})();

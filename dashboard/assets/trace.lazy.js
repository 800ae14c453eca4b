/* From a can to its tools: three fields, the set, the cans that stand or fall with it. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;

  function picked(name, label, options, value) {
    return h("p", name, { "class": "field" }, [
      h("label", 1, { "for": "t-" + name, "class": "lab" }, label),
      h("select", 2, { id: "t-" + name, name: name, "class": "t60" }, options.map(function (each) {
        return h("option", each, each === value ? { value: each, selected: "" } : { value: each }, each);
      }))]);
  }

  function form(page) {
    var made = page.form;
    return h("form", "form", { "class": "traceform", method: "get", action: "/trace" }, [
      h("input", "site", { type: "hidden", name: "site", value: made.site }),
      picked("line", "Line, first number", made.lines, made.line), picked("press", "Press, second number", made.numbers, made.press),
      h("p", "at", { "class": "field" }, [h("label", 1, { "for": "t-at", "class": "lab" }, "Made at, plant time " + made.offset),
        h("input", 2, { id: "t-at", name: "at", type: "datetime-local", "class": "t60", value: made.at, required: "" })]),
      h("button", "go", { type: "submit", "class": "send" }, "Trace"),
      h("p", "says", { "class": "quiet" }, made.says)]);
  }

  function row(each) {
    return h("li", each.key, { "class": "row" }, [
      it.slice(each.part, "draw"),
      h("div", "what", { "class": "what" }, some([
        h("p", 1, {}, [h("b", 1, {}, each.position), h("span", 2, {}, " "), h("a", 3, { href: each.href, "class": "nw" }, each.serial)]),
        h("p", 2, { "class": "ser" }, some([each.age, each.fitted, each.out]).join(" · ")), words("p", 3, "quiet", each.notes)])),
      h("div", "read", { "class": "checks" }, [
        h("p", 1, {}, [h("span", 1, { "class": "quiet" }, "Before: "), h("span", 2, {}, each.before)]),
        h("p", 2, {}, [h("span", 1, { "class": "quiet" }, "After: "), h("span", 2, {}, each.after)])]),
      h("div", "with", { "class": "doubts" }, each.doubts.map(function (text, at) { return h("p", at, { "class": "flag" }, text); }))]);
  }

  function set(made) {
    return it.panel(made, made.rows ? [
      h("ol", "rows", { "class": "rows stack tracerows" }, made.rows.map(row)),
      h("div", "none", { "class": "gaps" }, made.empty.map(function (text, at) { return h("p", at, { "class": "flag" }, text); })),
      h("p", "as", { "class": "tools" }, [h("button", 1, { type: "button", "class": "link", "data-open": "table", "aria-expanded": String(!!made.table) }, "As a table")]),
      made.table ? it.table(made.table) : h("span", "no", {}, "")] : []);
  }

  function cans(made) {
    return it.panel(made, made.bars ? [
      h("div", "window", { "class": "window" }, [h("ul", "bars", {}, made.bars.map(function (bar) {
        return h("li", bar.key, {}, [h("span", 1, { "class": "lab2" }, bar.label),
          h("span", 2, { "class": "track" }, [h("span", 1, { "class": "bar", style: "left:" + bar.left + "%;width:" + bar.width + "%" }, ""), h("span", 2, { "class": "can", style: "left:" + made.at + "%" }, "")]),
          h("span", 3, { "class": "count" }, bar.count + " cans"), h("span", 4, { "class": "sr" }, bar.span)]);
      })), h("p", "edges", { "class": "edges", "aria-hidden": "true" }, made.edges.map(function (text, at) { return h("span", at, {}, text); }))]),
      h("p", "key", { "class": "quiet" }, "Bars: from the last good check of each tool, or its fit, to its next check or pull. Upright: the can."),
      words("p", "same", "", made.same)] : []);
  }

  it.views.trace = function (page) {
    var parts = page.away ? [it.awayPart(page)] : [form(page)].concat(page.panels.map(function (made) {
      return made.key === "set" ? set(made) : made.key === "cans" ? cans(made) : it.panel(made, made.table ? [it.table(made.table)] : []);
    }), page.panels.length ? [h("p", "print", { "class": "tools noprint" }, [h("button", 1, { type: "button", "class": "link", "data-print": "1" }, "Print")])] : []);
    return [it.markSheet(), it.hatch(), it.head(page, false), it.ways(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet one tracepage" }, [h("h1", "h1", { "class": "sr" }, "Trace a can")].concat(parts)), h("footer", "foot", { "class": "foot" }, page.foot)];
  };

  document.addEventListener("submit", function (event) {
    var asked = event.target.closest(".traceform");
    if (!asked) { return; }
    event.preventDefault();
    window.location.assign("/trace?" + new URLSearchParams(new FormData(asked)));
  });

  document.addEventListener("click", function (event) {
    if (event.target.closest("[data-print]")) { window.print(); }
  });
})();

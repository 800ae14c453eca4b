/* How long tools of a place last, what ends them, what moves that, and how we know. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;

  function title(page) {
    return h("div", "title", { "class": "title" }, [
      h("h1", "h1", {}, [h("span", 1, { "class": "nw" }, page.position || "Lives"), h("small", 2, {}, page.kind && page.kind !== page.position ? " " + page.kind : "")]),
      h("p", "why", { "class": "why" }, some([words("b", 1, "", page.top.lead), words("span", 2, "", " " + page.top.rest)]))]);
  }

  function picks(page) {
    return h("nav", "picks", { "class": "picks", "aria-label": "Position" }, page.picks.map(function (each) {
      var attrs = { href: each.href, "class": "pick" };
      if (each.here) { attrs["aria-current"] = "true"; }
      return h("a", each.key, attrs, each.key);
    }));
  }

  function opener(name, open, word) {
    return h("p", "o-" + name, { "class": "tools" }, [h("button", 1, { type: "button", "class": "link", "data-open": name, "aria-expanded": String(!!open) }, word)]);
  }

  function tabled(made) { return made.table ? [it.table(made.table)] : []; }

  function list(name, texts) {
    return texts && texts.length ? h("ul", name, { "class": "remarks" }, texts.map(function (text, at) { return h("li", at, {}, text); })) : null;
  }

  /* ---- the curve, with its ages named where they stand ---- */
  function labelled(made) {
    var node = it.chart(made);
    node[3].forEach(function (kid) {
      if (kid[1] !== "plot") { return; }
      (made.labels || []).forEach(function (each) {
        kid[3].push(h("span", "l-" + each.key, { "class": "blabel" + (each.before ? " before" : ""), "aria-hidden": "true", style: "left:" + each.left + "%;top:" + each.top + "%" }, each.text));
      });
    });
    return node;
  }

  function curve(made) {
    return it.panel(made, made.chart ? some([labelled(made.chart),
      h("div", "why", { "class": "sentences" }, made.sentences.map(function (each, at) {
        return h("p", at, {}, [h("b", 1, { "class": each.tone }, each.lead), h("span", 2, {}, each.rest)]);
      })), list("cautions", made.cautions)]) : []);
  }

  /* ---- lives as lines ---- */
  var DRAWN = ["life", "in", "marked", "worn", "broken", "pulled", "arrow"];
  var KEYS = [["worn", "M0 7H14", "M18 7h0", "worn"], ["broken", "M0 7H16", "M12 3l9 8M21 3l-9 8", "broken"], ["pulled", "M0 7H16", "M16 2V12", "pulled sound, or other"], ["arrow", "M0 7H14", "M16 3l7 4l-7 4", "still in"]];

  function choice(name, made) {
    return h("p", "by", { "class": "choices", role: "group", "aria-label": "Grouped by" }, made.choices.map(function (each) {
      return h("button", each.key, { type: "button", "class": "choose", "data-param": name, "data-value": each.key, "aria-pressed": String(each.on) }, each.word);
    }));
  }

  function lifelines(made) {
    var d = made.drawing;
    return h("figure", "lines", { "class": "fig chart lifefig" }, [
      choice("by", d),
      h("div", "ys", { "class": "ys", "aria-hidden": "true", style: "height:" + d.high + "px" }, d.groups.map(function (each) { return h("span", each.key, { style: "top:" + each.top + "px" }, each.text); })),
      h("div", "plot", { "class": "plot", style: "height:" + d.high + "px" }, [
        h("svg", "svg", { viewBox: "0 0 1000 " + d.high, preserveAspectRatio: "none", role: "img", "aria-label": d.says }, [h("path", "grid", { "class": "gr", d: d.grid })].concat(
          DRAWN.filter(function (name) { return d.paths[name]; }).map(function (name) { return h("path", name, { "class": "v-" + name, d: d.paths[name] }); })))]),
      h("div", "xs", { "class": "xs", "aria-hidden": "true" }, d.x.ticks.map(function (tick) { return h("span", tick.text, { style: "left:" + tick.at + "%" }, tick.text); })),
      h("p", "xt", { "class": "xtitle" }, d.x.title),
      h("p", "key", { "class": "chartkey" }, KEYS.map(function (each) {
        return h("span", each[0], { "class": "pair" }, [h("svg", "s", { viewBox: "0 0 26 14", width: 26, height: 14, "aria-hidden": "true" }, [h("path", 1, { "class": "v-life", d: each[1] }), h("path", 2, { "class": "v-" + each[0], d: each[2] })]), h("span", "n", {}, each[3])]);
      })),
      h("p", "says", { "class": "figsays" }, d.note)]);
  }

  function plot(made) {
    return it.panel(made, made.chart ? [choice("paper", made), it.chart(made.chart)] : []);
  }

  /* ---- figures and effects ---- */
  function figures(made) {
    return it.panel(made, made.figures ? some([h("ul", "big", { "class": "big3" }, made.figures.map(function (each) {
      return h("li", each.key, {}, some([h("span", 1, { "class": "name3" }, each.name), h("b", 2, { "class": "nw" }, each.value), words("small", 3, "", each.range), words("small", 4, "", each.note)]));
    })), opener("parameters", made.open, "All parameters"), made.table ? it.table(made.table) : null]) : []);
  }

  function whisker(w) {
    return h("svg", "w", { "class": "whisk", viewBox: "0 0 150 20", width: 150, height: 20, "aria-hidden": "true" }, [
      h("path", 1, { "class": "w-none", d: "M" + w.none + " 1V19" }), h("path", 2, { "class": "w-range", d: "M" + w.low + " 10H" + w.high }), h("path", 3, { "class": "w-middle", d: "M" + w.middle + " 3V17" })]);
  }

  function effects(made) {
    return it.panel(made, made.effects ? [h("table", "t", { "class": "plain effects" }, [h("caption", "c", { "class": "sr" }, "Factor on strokes to the end"),
      h("tbody", 1, {}, made.effects.map(function (each) {
        return h("tr", each.key, {}, each.whisker
          ? [h("th", 1, { scope: "row" }, each.name), h("td", 2, {}, [whisker(each.whisker)]), h("td", 3, { "class": "r" }, [h("b", 1, {}, each.figure)]), h("td", 4, { "class": "quiet" }, each.range + (each.note ? ", " + each.note : ""))]
          : [h("th", 1, { scope: "row" }, each.name), h("td", 2, { colspan: 3, "class": "quiet" }, each.note)]);
      }))])] : []);
  }

  function score(made) {
    return it.panel(made, made.table ? some([it.table(made.table), list("mind", made.words),
      opener("where-" + made.key.replace("score-", ""), made.shown, "Where the ends lay in their ranges"), made.chart ? it.chart(made.chart) : null]) : []);
  }

  /* ---- below ---- */
  function more(made) {
    return it.panel(made, made.words || made.tables ? some([list("words", made.words)].concat((made.tables || []).map(function (each) {
      return h("div", "d-" + each.key, {}, [h("h3", 1, {}, each.caption), it.table(each)]);
    }), tabled(made), [made.all ? opener(made.key, made.open, made.open ? "Only those that differ" : made.all) : null])) : []);
  }

  function whatIf(made) {
    var form = made.form, told = made.answer;
    return it.panel(made, [
      h("form", "form", { "class": "whatform", "data-what": "1" }, form.fields.map(function (each) {
        return h("p", each.name, { "class": "field" }, [h("label", 1, { "for": "w-" + each.name, "class": "lab" }, each.label),
          h("input", 2, { id: "w-" + each.name, name: each.name, type: "text", inputmode: "decimal", autocomplete: "off", value: each.value, "aria-describedby": "n-" + each.name }),
          h("small", 3, { id: "n-" + each.name, "class": "quiet" }, each.now)]);
      }).concat([
        h("p", "leave", { "class": "field" }, [h("label", 1, { "for": "w-leave", "class": "lab" }, "Lives that count"),
          h("select", 2, { id: "w-leave", name: "leave" }, form.choices.map(function (each) {
            return h("option", each.value || "all", each.value === form.leave ? { value: each.value, selected: "" } : { value: each.value }, each.word);
          }))]),
        h("p", "go", { "class": "field go" }, some([h("button", 1, { type: "submit", "class": "small" }, "Reckon"),
          form.asked ? h("button", 2, { type: "button", "class": "link", "data-what-clear": "1" }, "Back to as it is") : null]))])),
      told.state === "none" ? h("p", "told", { role: "status" }, "") : h("p", "told", { "class": "told", role: "status" }, some([
        told.lead ? h("b", 1, { "class": told.state === "refused" ? "short" : "" }, told.lead) : null, told.rest ? h("span", 2, {}, " " + told.rest) : null]))
    ].concat((told.tables || []).map(function (each) { return h("div", "d-" + each.key, {}, [h("h3", 1, {}, each.caption), it.table(each)]); }), some([words("p", "more", "quiet", told.more)])));
  }

  function allLives(made) {
    return it.panel(made, made.count ? some([opener("lives", made.open, made.count), made.table ? it.table(made.table) : null]) : []);
  }

  var PARTS = { curve: curve, plot: plot, figures: figures, effects: effects, "score-live": score, "score-backtest": score, "what-if": whatIf, lives: allLives };

  function part(made) {
    if (made.key === "lines") { return it.panel(made, made.drawing ? [lifelines(made)] : []); }
    if (PARTS[made.key]) { return PARTS[made.key](made); }
    return made.words || made.tables ? more(made) : it.panel(made, tabled(made));
  }

  it.views.life = function (page) {
    var parts = page.away ? [h("h1", "h1", { "class": "sr" }, "Lives"), it.awayPart(page)] : some([title(page), picks(page),
      h("div", "two", { "class": page.right && page.right.length ? "lifepage" : "lifepage lone" }, [
        h("div", "left", {}, (page.left || []).map(part)), h("div", "right", {}, (page.right || []).map(part))]),
      page.wide ? h("div", "wide", { "class": "widepage" }, page.wide.map(part)) : null]);
    return [it.markSheet(), it.head(page, false), it.ways(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet one" }, parts), h("footer", "foot", { "class": "foot" }, page.foot)];
  };

  /* What takes some seconds is asked for again soon. */
  var waits = 0;
  it.after.life = function (page) {
    var slow = (page.right || []).concat(page.wide || []).some(function (made) { return made.state === "loading" || (made.answer && made.answer.state === "loading"); });
    window.clearTimeout(waits);
    if (slow) { waits = window.setTimeout(it.ask, 1500); }
  };

  document.addEventListener("submit", function (event) {
    var form = event.target.closest("[data-what]");
    if (!form) { return; }
    event.preventDefault();
    new FormData(form).forEach(function (value, name) { it.shown.params[name] = value; });
    it.shown.params.what = "1";
    it.ask();
  });

  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-param],[data-what-clear]");
    if (!button) { return; }
    if (button.hasAttribute("data-what-clear")) {
      document.querySelectorAll("[data-what] input").forEach(function (field) { field.value = ""; it.shown.params[field.name] = ""; });
      document.querySelector("#w-leave").value = ""; it.shown.params.leave = ""; it.shown.params.what = "";
    } else { it.shown.params[button.getAttribute("data-param")] = button.getAttribute("data-value"); }
    it.ask();
  });
})();

/* Records: flags to settle, questions to answer, payloads to try again. One action a row. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;
  var told = {};

  function field(name, label, type, more) {
    return h("p", name, { "class": "field" }, [h("label", 1, {}, [h("span", 1, { "class": "lab" }, label),
      h("input", 2, Object.assign({ name: name, type: type, "class": "t60", autocomplete: "off", required: "" }, more || {}))])]);
  }

  function form(call, each, fields, word) {
    var said = told[each.id];
    return h("form", "form", { "class": "actform", "data-call": call, "data-id": each.id }, fields.concat([
      h("button", "go", { type: "submit", "class": "t60 go" }, word),
      h("p", "said", { role: "status", "class": said && said.bad ? "act" : "quiet" }, said ? said.text : "")]));
  }

  function head(each) {
    return [h("p", "t", { "class": "about" }, [each.href ? h("a", 1, { href: each.href }, each.title) : h("b", 1, {}, each.title), h("span", 2, { "class": "quiet" }, " " + each.when)]),
      h("p", "says", {}, each.says)];
  }

  var DRAW = {
    flags: function (each, may) {
      var pick = each.candidates.length ? h("p", "candidates", { "class": "quiet" }, "Whole turns leave open: " + each.candidates.join(", ") + ".") : null;
      return head(each).concat(some([words("p", "rule", "quiet", each.rule), pick,
        may.settle ? form("settle-flag", each, [field("strokes", "Strokes that were hidden", "number", { step: 1 }), field("reason", "How you know", "text", { maxlength: 500 })], "Settle") : null]));
    },
    questions: function (each, may) {
      return head(each).concat(some([may.answer ? form("answer", each, [field("reason", "What is true", "text", { maxlength: 500 })], "Answer") : null]));
    },
    quarantine: function (each, may) {
      var said = told[each.id];
      return head(each).concat(some([h("p", "topic", { "class": "quiet code" }, each.topic), words("p", "payload", "quiet code", each.payload),
        may.settle ? h("p", "do", { "class": "tools" }, [
          h("button", 1, { type: "button", "class": "t60", "data-call": "replay", "data-id": each.id }, "Try again"),
          h("button", 2, { type: "button", "class": "t60", "data-call": "drop", "data-id": each.id }, "Put aside")]) : null,
        h("p", "said", { role: "status", "class": said && said.bad ? "act" : "quiet" }, said ? said.text : "")]));
    }
  };

  function list(made, may) {
    return h("ol", "items", { "class": "items" }, made.items.map(function (each) { return h("li", each.key, {}, DRAW[made.key](each, may)); }));
  }

  function send(call, id, body) {
    told[id] = { text: "Sending." };
    it.render();
    it.write(call, body, { id: id }).then(function (answer) {
      var good = answer.status >= 200 && answer.status < 300;
      var why = (answer.errors || []).map(function (each) { return each.field + ": " + each.reason; }).join("; ");
      told[id] = good ? { text: "Taken." } : { bad: true, text: why || answer.detail || "The board gave no answer. Try again." };
      it.render();
    });
  }

  document.addEventListener("submit", function (event) {
    var asked = event.target.closest(".actform");
    if (!asked) { return; }
    event.preventDefault();
    var body = {};
    new FormData(asked).forEach(function (value, name) { body[name] = name === "strokes" ? Number(value) : value; });
    send(asked.getAttribute("data-call"), asked.getAttribute("data-id"), body);
  });

  document.addEventListener("click", function (event) {
    var button = event.target.closest("button[data-call]");
    if (button) { send(button.getAttribute("data-call"), button.getAttribute("data-id"), null); }
  });

  it.views.records = function (page) {
    var parts = page.away ? [it.awayPart(page)] : page.panels.map(function (made) {
      return it.panel(made, some([made.items ? list(made, page.may) : null, made.table ? it.table(made.table) : null]));
    });
    return [it.markSheet(), it.head(page, false), it.ways(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet one" }, [h("h1", "h1", { "class": "sr" }, "Records")].concat(parts)), h("footer", "foot", { "class": "foot" }, page.foot)];
  };
})();

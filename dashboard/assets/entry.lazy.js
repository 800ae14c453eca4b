/* Entry on a tablet with gloves. What is typed stays here until the board has it: the form in this
   page, an entry that was sent in the browser's own store with its id, so that it is never doubled. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;
  var KEPT = "duestroke-kept", NAMES = "duestroke-by";
  var FIELD_OF = { size_mm: "size", back_at: "back", strokes_before: "before", strokes_before_margin: "margin", unit: "value", quantity: "value", limit: "value", before_unknown: "age" };
  var LONGEST_PAUSE_S = 30;

  /* ---- what is typed ---- */
  var START = ["do", "press", "position", "serial", "event", "of", "reason"];
  var form = { at: "now" };
  var query = new URLSearchParams(window.location.search);
  START.forEach(function (name) { if (query.get(name)) { form[name] = query.get(name); } });
  var count = 0, entryId = uuid(), refused = {}, done = null, sending = false, asking = 0, dirty = false;

  function uuid() {
    if (window.crypto.randomUUID) { return window.crypto.randomUUID(); }
    var at = window.crypto.getRandomValues(new Uint8Array(16));
    at[6] = (at[6] & 15) | 64; at[8] = (at[8] & 63) | 128;
    var hex = Array.prototype.map.call(at, function (each) { return (each + 256).toString(16).slice(1); }).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  /* What belongs to one entry; who, and at which press, goes on to the next. */
  var ONE = ["serial", "reason", "note", "value", "uncertainty", "verdict", "size", "kind", "event", "of", "pick", "age", "before", "margin", "back", "batch", "day", "time", "fold"];
  function anew(more) {
    var made = { at: "now" };
    ONE.forEach(function (name) { made[name] = ""; });
    if (form.event) { delete form.by; }
    return Object.assign(made, more);
  }

  function publish() {
    count += 1;
    it.shown.params = Object.assign({}, form, { n: String(count) });
  }

  function set(changes, later) {
    Object.keys(changes).forEach(function (name) { form[name] = changes[name]; delete refused[name]; });
    delete refused[""];
    done = null;
    publish();
    window.clearTimeout(asking);
    if (later) { asking = window.setTimeout(it.ask, 250); } else { it.ask(); }
    it.render();
  }

  /* ---- drawing ---- */
  var LOCK = [["path", { d: "M8 26V16a9 9 0 0 1 18 0V26" }], ["rect", { x: 4, y: 26, width: 26, height: 24 }], ["path", { d: "M17 34V43", "stroke-width": 4 }]];

  function care(page) {
    return h("section", "care", { "class": "care", "aria-label": "Before you start" }, [
      h("svg", "lock", { viewBox: "0 0 34 60", "aria-hidden": "true", fill: "none", stroke: "currentColor", "stroke-width": 3 }, LOCK.map(function (each, at) { return h(each[0], at, each[1]); }))
    ].concat(page.care.concat(page.more_care ? [page.more_care] : []).map(function (each) {
      return h("p", each[0], {}, [h("b", 1, {}, each[0]), h("span", 2, {}, " " + each[1])]);
    })));
  }

  function button(key, attrs, word, small) {
    return h("button", key, Object.assign({ type: "button", "class": "t60" }, attrs), some([h("span", 1, {}, word), small ? h("small", 2, {}, small) : null]));
  }

  function pick(name, value, word, small, more) {
    return button(name + value, Object.assign({ "data-set": name, "data-value": value, "aria-pressed": String((form[name] || "") === value) }, more), word, small);
  }

  function says(id, tone, text) {
    return h("p", id, { "class": "say s-" + tone, id: id, role: "status" }, text || "");
  }

  function under(field) {
    var no = refused[field.name];
    return no ? says("no-" + field.name, "no", no) : null;
  }

  function label(field, id) { return h(id ? "label" : "span", "lab", id ? { "class": "lab", "for": id } : { "class": "lab", id: "l-" + field.name }, field.label); }

  function input(name, more) {
    return h("input", "in-" + name, Object.assign({ id: "f-" + name, "data-type": name, autocomplete: "off", spellcheck: "false", autocapitalize: "off" }, more), []);
  }

  var draw = {
    choice: function (field) {
      return [label(field), h("div", "g", { "class": "grid", role: "group", "aria-labelledby": "l-" + field.name, style: "grid-template-columns:repeat(" + field.columns + ",minmax(0,1fr))" },
        field.options.map(function (each) { return pick(field.name, each.value, each.word, each.small); })), under(field)];
    },
    serial: function (field) {
      var fresh = field.echo === (form.serial || "");
      var told = fresh ? field.says : { tone: "quiet", text: it.shown.lost ? "Not checked: the board gives no answer. It is judged when it is entered." : "Being checked.", like: [] };
      var shut = field.pick.count ? {} : { disabled: "" };
      var picks = field.pick.word ? button("pick", Object.assign({ "data-set": "pick", "data-value": field.pick.open ? "" : "1", "aria-expanded": String(field.pick.open) }, shut), field.pick.word) : null;
      return [label(field, "f-serial"),
        h("div", "f", { "class": "field" }, some([input("serial", { "aria-describedby": "says-serial", enterkeyhint: "done", "data-scan": "1", maxlength: 64 }), picks])),
        says("says-serial", refused.serial ? "no" : told.tone, refused.serial || told.text),
        told.like.length || field.options.length ? h("div", "o", { "class": "grid picks", role: "group", "aria-label": "Pick a tool" }, told.like.map(function (each) { return pick("serial", each, each, "this one is meant", { "data-put": "serial" }); })
          .concat(field.options.filter(function (each) { return told.like.indexOf(each.value) < 0; }).map(function (each) { return pick("serial", each.value, each.word, each.small, { "data-put": "serial" }); }))) : null,
        field.more ? h("p", "m", { "class": "quiet" }, field.more + " more: type or scan the serial.") : null];
    },
    number: function (field) {
      return [label(field, "f-" + field.name), h("div", "f", { "class": "field" }, some([input(field.name, { inputmode: "decimal", maxlength: 16 }), field.signed ? button("sign", { "data-sign-of": field.name, "aria-label": "Plus or minus" }, "±") : null])), field.says ? h("p", "s", { "class": "say s-quiet" }, field.says) : null, under(field)];
    },
    text: function (field) {
      return [label(field, "f-" + field.name), h("div", "f", { "class": "field" }, [input(field.name, { maxlength: 200 })]), under(field)];
    },
    time: function (field) {
      var earlier = form.at === "earlier";
      var typed = (form.day || "") + " " + (form.time || "");
      var told = typed === field.echo ? field : { twice: [], says: "", tone: "quiet" };
      return [label(field), h("div", "g", { "class": "grid g2", role: "group", "aria-labelledby": "l-at" }, [
        pick("at", "now", "now, " + field.now, field.small), pick("at", "earlier", "earlier", "day and time", { "data-day": field.today })]),
      earlier ? h("div", "d", { "class": "grid days", role: "group", "aria-label": "Day" }, field.days.map(function (each) { return pick("day", each.value, each.word, each.small); })
        .concat([h("label", "od", { "class": "other" }, [h("span", 1, {}, "other day"), input("day", { type: "date", max: field.today })]), h("label", "ot", { "class": "other" }, [h("span", 1, {}, "time"), input("time", { inputmode: "numeric", placeholder: "hh:mm", maxlength: 5 })])])) : null,
      earlier && told.twice.length ? h("div", "w", { "class": "grid g2", role: "group", "aria-label": "Which of the two" }, told.twice.map(function (each) { return pick("fold", each.value, each.word, each.small); })) : null,
      earlier && told.says ? h("p", "s", { "class": "say s-" + told.tone }, told.says) : null, under(field)];
    },
    person: function (field) {
      var known = names();
      var other = form.by !== undefined && known.indexOf(form.by) < 0;
      return [label(field), h("div", "g", { "class": "grid g3", role: "group", "aria-labelledby": "l-by" }, known.map(function (each) {
        return button("by" + each, { "data-set": "by", "data-value": each, "aria-pressed": String(by() === each) }, each);
      }).concat([button("other", { "data-set": "by", "data-value": "", "data-focus": "f-by", "aria-pressed": String(other) }, "other")])),
      other ? h("div", "f", { "class": "field" }, [input("by", { maxlength: 200, "aria-label": "Name of who did it" })]) : null, under(field)];
    },
    entries: function (field) {
      return [label(field), h("ol", "g", { "class": "grid entries" }, field.rows.map(function (row) {
        return h("li", row.value, {}, [h("p", 1, {}, [h("b", 1, {}, row.word), h("span", 2, { "class": "quiet" }, " " + row.small)]),
          button("c", { "data-correct": row.value }, "Correct"), button("v", { "data-void": row.value }, "Take back")]);
      }))];
    }
  };

  function fieldPart(field) { return h("div", "field " + field.name, { "class": "part k-" + field.kind + (field.kind === "time" && form.at === "earlier" ? " wide" : "") }, some(draw[field.kind](field))); }

  function seats(page) {
    if (!page.seats || !page.seats.length) { return null; }
    return h("div", "left", { "class": "left" }, [h("span", "l", { "class": "lab", id: "l-position" }, page.seats_label),
      h("div", "seq", { "class": "seq", role: "group", "aria-labelledby": "l-position" }, page.seats.map(function (seat) {
        return h("button", seat.value, { type: "button", "class": "t60", "data-seat": seat.value, "aria-pressed": String(form.position === seat.value) }, [
          h("i", 1, { "aria-hidden": "true" }, [h("u", 1, { style: "width:" + seat.width + "px" })]), h("span", 2, {}, seat.value), h("span", 3, { "class": "m" }, seat.small)]);
      })), refused.position ? says("no-position", "no", refused.position) : null].filter(Boolean));
  }

  function where(page) {
    return h("header", "where", { "class": "where" }, [
      h("h1", "h", { tabindex: "-1" }, [h("span", 1, {}, page.heading + (page.id ? " " : "")), h("span", 2, { "class": "which" }, page.id)]),
      page.choose === "press" || !page.of_press ? h("span", "p", {}, "") : button("p", { "data-set": "choose", "data-value": "press" }, "Other press"),
      page.choose === "entry" ? h("span", "e", {}, "") : button("e", { "data-set": "choose", "data-value": "entry" }, "Other entry")]);
  }

  function chosen(page) {
    if (page.choose === "entry") {
      return h("div", "kinds", { "class": "grid kinds", role: "group", "aria-label": "Kind of entry" }, page.kinds.map(function (each) {
        return button(each.value, { "data-kind": each.value, "aria-pressed": String(page.form["do"] === each.value) }, each.word, each.small);
      }));
    }
    return h("div", "presses", { "class": "presses" }, page.presses.map(function (line) {
      return h("div", line.line, { role: "group", "aria-label": line.line }, [h("span", "l", { "class": "lab" }, line.line),
        h("div", "g", { "class": "grid g6" }, line.presses.map(function (each) { return button(each.value, { "data-press": each.value }, each.word); }))]);
    }));
  }

  function result() {
    if (!done) { return null; }
    return h("div", "done", { "class": "done " + (done.warnings.length ? "asks" : ""), role: "status" }, some([
      h("p", 1, {}, [h("b", 1, {}, done.kept ? "Kept in this tablet: " : "Entered: "), h("span", 2, {}, done.words)])]
      .concat(done.warnings.map(function (each, at) { return h("p", "w" + at, { "class": "say s-ask" }, each); }))
      .concat(done.event ? [button("v", { "data-void": done.event, "data-of": done.of }, "Take it back")] : [])));
  }

  /* Whether the page's words are about what is typed now. */
  function isFresh(page) { return page.echo === String(count) || (count === 1 && !page.echo); }

  function inWords(page) {
    if (isFresh(page) && page.send.repeat) { return page.send.repeat; }
    return some([page.send.word, form.serial, form.position, page.id]).join(" · ");
  }

  function sendPart(page) {
    if (!page.send) { return null; }
    var fresh = isFresh(page);
    return h("div", "sendpart", {}, some([
      refused[""] ? h("p", "no", { "class": "say s-no", role: "alert" }, refused[""]) : null,
      h("button", "send", { type: "button", "class": "send", "data-send": "1", "aria-busy": String(sending) }, some([h("span", 1, {}, sending ? "Sending" : page.send.word), fresh && page.send.repeat ? h("small", 2, {}, page.send.repeat) : null]))]));
  }

  function right(page) {
    if (page.choose) { return [where(page), chosen(page)]; }
    return some([where(page), result(), page.lead ? h("p", "lead", { "class": "lead" }, page.lead) : null].concat(page.fields.map(fieldPart), [
      (page.more || []).length ? h("p", "more", { "class": "mores" }, page.more.map(function (each) { return h("button", each.key, { type: "button", "class": "link big", "data-open": each.key, "aria-expanded": "false" }, each.word); })) : null,
      sendPart(page)]));
  }

  function foot(page) {
    var me = page.me || {};
    return h("footer", "foot", { "class": "foot" }, [h("p", "law", { "class": "law" }, page.law || page.foot), h("p", "ways", { "class": "back" }, some([
      page.back ? h("a", "b", { href: page.back.href }, page.back.word) : null, page.back && page.back.href !== "/" ? h("a", "s", { href: "/" }, "Shift") : null,
      me.signed ? h("span", "me", { "class": "me quiet" }, me.name + " · " + me.role) : null, me.signed ? h("button", "out", { type: "button", "class": "link", "data-out": "1" }, "Sign out") : null]))]);
  }

  it.views.entry = function (page) {
    if (page.away) { return it.sheet(page, "Enter a change", [it.awayPart(page)]); }
    var left = page.choose ? null : seats(page);
    return [it.markSheet(), care(page), it.endedBar(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": left ? "form" : "form alone" }, some([left, h("div", "right", { "class": "right" }, right(page).concat([net()].filter(Boolean)))])), foot(page)];
  };

  /* What is typed is the truth of a field, unless somebody is typing in it. */
  var acted = false, wasSigned = true, lastName = "";
  it.after.entry = function (page) {
    var signed = !!(page.me || {}).signed;
    if (signed && !wasSigned && kept().length) { later(0); }
    wasSigned = signed;
    if (signed) { lastName = page.me.name; }
    /* The button that was pressed may be gone: who goes by keyboard goes on from the heading. */
    var heading = document.querySelector(".where h1");
    if (acted && heading && document.activeElement === document.body) { heading.focus({ preventScroll: true }); }
    document.querySelectorAll("[data-type]").forEach(function (node) {
      var value = node.getAttribute("data-type") === "by" ? by() : form[node.getAttribute("data-type")] || "";
      if (node !== document.activeElement && node.value !== value) { node.value = value; }
    });
  };

  /* ---- who did it: names last used on this tablet ---- */
  function stored(name, otherwise) {
    try { return JSON.parse(window.localStorage.getItem(name)) || otherwise; } catch (fault) { return otherwise; }
  }

  function store(name, value) { try { window.localStorage.setItem(name, JSON.stringify(value)); return true; } catch (fault) { return false; } }

  function names() {
    var mine = ((it.shown.page || {}).me || {}).name;
    var used = stored(NAMES, []);
    return used.concat(mine && used.indexOf(mine) < 0 ? [mine] : []).slice(0, 2);
  }

  function by() { return form.by === undefined ? names()[0] || "" : form.by; }

  function remember(name) {
    if (name) { store(NAMES, [name].concat(stored(NAMES, []).filter(function (each) { return each !== name; })).slice(0, 2)); }
  }

  /* ---- from the form to what is sent ---- */
  function timeField(page) { return (page.fields || []).filter(function (each) { return each.kind === "time"; })[0]; }

  function instant(ms) { return new Date(1000 * Math.floor(ms / 1000)).toISOString().replace(".000Z", "Z"); }

  function typedTime(page) {
    if (form.at !== "earlier") { return instant(it.now()); }
    var field = timeField(page);
    if (!form.day || !form.time || !field) { return null; }
    var typed = form.day + " " + form.time;
    var clock = /^(\d{1,2})[:.h ]?(\d{2})$/.exec(form.time.trim());
    if (!clock || Number(clock[1]) > 23 || Number(clock[2]) > 59) { return null; }
    return form.day + "T" + ("0" + clock[1]).slice(-2) + ":" + clock[2] + ":00" + (field.echo === typed && field.offset ? field.offset : field.zone);
  }

  function day(value, page) {
    if (!value) { return null; }
    var field = timeField(page);
    var date = value[0] === "+" ? new Date(it.now() + 86400000 * Number(value.slice(1))).toISOString().slice(0, 10) : value;
    return date + "T12:00:00" + (field ? field.zone : "Z");
  }

  function figure(text) {
    var plain = String(text || "").replace(",", ".").replace("−", "-").trim();
    return plain === "" ? null : /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }

  function filled(value, page) {
    if (typeof value !== "string" || value[0] !== "$") { return value; }
    var parts = /^\$(?:([a-z]+):)?([a-z_]+)(?: (.*))?$/.exec(value);
    var name = parts[2], text = name === "by" ? by() : form[name] || "";
    if (parts[1] === "number") { return figure(text); }
    if (parts[1] === "millions") { var number = figure(text); return number === null ? null : Math.round(1e6 * number); }
    if (parts[1] === "time") { return typedTime(page); }
    if (parts[1] === "day") { return day(text, page); }
    if (parts[1] === "with") { return text ? parts[3] : null; }
    return text.trim() || null;
  }

  function body(page) {
    var made = {};
    Object.keys(page.template).forEach(function (name) {
      var value = filled(page.template[name], page);
      if (value !== null && value !== undefined) { made[name] = value; }
    });
    return made;
  }

  function missing(page) {
    var found = {};
    page.needs.forEach(function (need) {
      if (!need.names.some(function (name) { return (form[name] || "").trim(); })) { found[need.names[0]] = need.says; }
    });
    page.fields.forEach(function (field) {
      if (field.kind === "number" && Number.isNaN(figure(form[field.name]))) { found[field.name] = "A number, please: " + form[field.name] + " is none."; }
      if (field.kind === "time" && typedTime(page) === null) { found.at = "Say the day and the time."; }
      if (field.name === "note" && form.reason === "other" && !(form.note || "").trim()) { found.note = "Say what."; }
    });
    return found;
  }

  /* ---- sending, and what is kept until it is sent ---- */
  function kept() { return stored(KEPT, []); }
  function keep(list) { return store(KEPT, list); }
  function change(id, how) { keep(kept().map(function (each) { return each.id === id ? Object.assign({}, each, how) : each; })); }
  function drop(id) { keep(kept().filter(function (each) { return each.id !== id; })); }

  function enter(page) {
    if (sending) { return; }
    refused = missing(page);
    if (Object.keys(refused).length) { it.render(); showFirst(); return; }
    var sent = body(page);
    if (page.call !== "tools") { sent.id = entryId; }
    var entry = { id: entryId, call: page.call, body: sent, words: inWords(page), since: it.now(), who: lastName, tries: 0, state: "sending", press: form.press || "" };
    var held = keep(kept().concat([entry]));
    sending = true;
    it.render();
    it.write(entry.call, entry.body).then(function (told) {
      sending = false;
      if (told.status === 200 || told.status === 201) { drop(entry.id); taken(entry, told); return; }
      if (told.status >= 400 && told.status < 500 && told.status !== 401 && told.status !== 429) { drop(entry.id); refuse(told); return; }
      if (!held) { refuse({ detail: "Not entered, and this tablet can keep nothing: send it again.", errors: [] }); return; }
      change(entry.id, { state: told.status === 401 ? "signed-out" : "waiting", tries: 1 });
      later(1);
      taken(entry, null);
    });
  }

  function refuse(told) {
    refused = {};
    var shown = (it.shown.page.fields || []).map(function (each) { return each.name; });
    told.errors.forEach(function (each) {
      var name = FIELD_OF[each.field] || each.field;
      refused[shown.indexOf(name) >= 0 || name === "position" ? name : ""] = each.reason;
    });
    if (!Object.keys(refused).length) { refused[""] = told.detail || "Not entered."; }
    it.render();
    showFirst();
  }

  function showFirst() {
    var first = document.querySelector(".s-no");
    if (first) { first.scrollIntoView({ block: "center" }); }
  }

  /* told: null where it is kept. The form goes on at the same press, with an id of its own. */
  function taken(entry, told) {
    remember(entry.body.by);
    entryId = uuid();
    var answer = told && told.body ? [].concat(told.body)[0] : {};
    var back = told && entry.call !== "tools" && !entry.body.void;
    refused = {};
    set(anew(entry.body.corrects ? { "do": "lately", position: "" } : { position: "" }));
    dirty = false;
    done = { words: entry.words, warnings: answer.warnings || [], kept: !told, event: back ? answer.id : "", of: entry.body.serial || "" };
    it.render();
  }

  var timer = 0, flushing = false;
  function later(tries) {
    window.clearTimeout(timer);
    timer = window.setTimeout(flush, tries ? 1000 * Math.min(LONGEST_PAUSE_S, Math.pow(2, tries - 1)) : 0);
  }

  /* One after the other in the order of entry, each with its own id: sent again it is the same entry. */
  function flush(evenOthers) {
    var me = ((it.shown.page || {}).me || {});
    var next = kept().filter(function (each) { return each.state !== "refused" && (each.who === me.name || evenOthers === each.id); })[0];
    if (!next || !me.signed || sending || flushing) { if (kept().length) { later(4); } return; }
    flushing = true;
    it.write(next.call, next.body).then(function (told) {
      flushing = false;
      if (told.status === 200 || told.status === 201) { drop(next.id); if (kept().length) { flush(); } }
      else if (told.status === 0 || told.status >= 500 || told.status === 429) { change(next.id, { state: "waiting", tries: next.tries + 1 }); later(next.tries + 1); }
      else if (told.status === 401 || (told.status === 403 && next.tries < 3)) { change(next.id, { state: told.status === 401 ? "signed-out" : "waiting", tries: next.tries + 1 }); it.ask(); later(3); }
      else { change(next.id, { state: "refused", detail: told.errors.map(function (each) { return each.reason; }).join(" ") || told.detail }); flush(); }
      it.render();
    });
  }

  window.addEventListener("online", function () { flush(); });
  window.addEventListener("beforeunload", function (event) {
    if (dirty || kept().some(function (each) { return each.state !== "refused"; })) { event.preventDefault(); event.returnValue = ""; }
  });

  function clock(ms) { return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: it.shown.page.zone || "UTC" }).format(ms); }

  function net() {
    var list = kept().filter(function (each) { return !(sending && each.id === entryId); });
    if (!list.length) { return null; }
    var waits = list.filter(function (each) { return each.state !== "refused"; }), me = it.shown.page.me || {};
    return h("section", "net", { "class": "net", "aria-label": "Kept in this tablet", role: "status" }, some([
      waits.length ? h("p", "s", {}, [h("b", 1, {}, waits.length === 1 ? "1 entry is kept in this tablet" : waits.length + " entries are kept in this tablet"),
        h("span", 2, {}, " since " + clock(waits[0].since) + (me.signed ? ". Sent by itself as soon as the board answers, once only." : ". Sent once you have signed in again, once only."))]) : null,
      h("ol", "l", {}, list.map(function (each) {
        var other = each.who !== me.name && each.state !== "refused";
        return h("li", each.id, {}, some([h("span", 1, {}, each.words + " · " + (each.state === "refused" ? "not taken: " + each.detail : other ? "kept by " + (each.who || "nobody signed in") : each.state === "sending" ? "being sent" : "tried " + each.tries + (each.tries === 1 ? " time" : " times"))),
          other && me.signed ? button("as", { "data-as": each.id }, "Send as " + me.name) : null,
          me.signed && (each.state === "refused" || other) ? button("x", { "data-drop": each.id }, "Discard") : null]));
      }))]));
  }

  /* ---- hands ---- */
  function rowOf(id) {
    var field = (it.shown.page.fields || []).filter(function (each) { return each.kind === "entries"; })[0];
    return field && field.rows.filter(function (each) { return each.value === id; })[0];
  }

  var acts = {
    "data-set": function (node) {
      var name = node.getAttribute("data-set"), value = node.getAttribute("data-value"), changes = {};
      changes[name] = value;
      if (name === "at" && value === "earlier" && !form.day) { changes.day = node.getAttribute("data-day"); }
      if (name === "serial") { changes.pick = ""; }
      set(changes);
      if (/^(reason|serial|verdict)$/.test(name)) { dirty = true; }
      var field = document.getElementById(node.getAttribute("data-focus") || (name === "reason" && value === "other" ? "f-note" : ""));
      if (field) { field.focus(); }
    },
    "data-sign-of": function (node) {
      var name = node.getAttribute("data-sign-of"), text = (form[name] || "").trim(), changes = {};
      changes[name] = /^[-−]/.test(text) ? text.slice(1) : "-" + text.replace(/^\+/, "");
      set(changes);
    },
    "data-seat": function (node) { set(form.event ? { position: node.getAttribute("data-seat") } : { position: node.getAttribute("data-seat"), serial: "", reason: "", pick: "", value: "", verdict: "" }); },
    "data-kind": function (node) { set(anew({ "do": node.getAttribute("data-kind"), choose: "" })); },
    "data-press": function (node) { set(anew({ press: node.getAttribute("data-press"), choose: "", position: "" })); },
    "data-correct": function (node) {
      var row = rowOf(node.getAttribute("data-correct"));
      if (row) { set(anew(Object.assign({}, row.fill, { "do": row.form, event: row.value }))); }
    },
    "data-void": function (node) { set(anew({ "do": "void", event: node.getAttribute("data-void"), of: node.getAttribute("data-of") || "" })); },
    "data-send": function () { enter(it.shown.page); },
    "data-as": function (node) { flush(node.getAttribute("data-as")); },
    "data-drop": function (node) { drop(node.getAttribute("data-drop")); it.render(); }
  };

  document.addEventListener("click", function (event) {
    if ((it.shown.page || {}).view !== "entry") { return; }
    var node = event.target.closest("button");
    if (!node) { return; }
    Object.keys(acts).some(function (name) {
      if (!node.hasAttribute(name)) { return false; }
      acted = true;
      acts[name](node);
      return true;
    });
  });

  document.addEventListener("input", function (event) {
    var name = event.target.getAttribute && event.target.getAttribute("data-type");
    if (!name) { return; }
    var changes = {};
    changes[name] = name === "serial" ? event.target.value.trim() : event.target.value;
    dirty = true;
    set(changes, true);
  });

  /* A hand scanner types a serial and Enter, wherever the focus stands. */
  document.addEventListener("keydown", function (event) {
    if ((it.shown.page || {}).view !== "entry" || event.ctrlKey || event.metaKey || event.altKey) { return; }
    var field = document.querySelector("[data-scan]"), at = document.activeElement;
    if (event.key === "Enter" && at === field && field) {
      event.preventDefault();
      set({ serial: field.value.trim(), pick: "" });
      field.select();
    } else if (field && event.key.length === 1 && event.key !== " " && !/^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName)) {
      field.value = "";
      field.focus();
    }
  });

  publish();
  if (kept().length) { later(1); }
})();

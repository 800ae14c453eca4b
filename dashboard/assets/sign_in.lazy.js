/* The page on which somebody signs in. */
(function () {
  "use strict";
  var it = window.duestroke;
  var h = it.h, some = it.some, words = it.words;

  function signed(me) {
    return [h("p", "who", { "class": "says" }, [h("span", 1, {}, "Signed in as "), h("b", 2, {}, me.name), h("span", 3, {}, " (" + me.role + ").")]),
      h("p", "go", { "class": "says" }, [h("a", 1, { href: "/" }, "To the Shift page"), h("span", 2, {}, " · "), h("button", 3, { type: "button", "class": "link", "data-out": "1" }, "Sign out")])];
  }

  function field(page) {
    return [h("form", "form", { "class": "signpage", "data-sign": window.location.pathname === "/sign-in" ? "go" : "stay" }, some([
      h("label", "l", { "for": "token", "class": "lab" }, "Your token"),
      h("input", "i", { id: "token", name: "token", type: "password", autocomplete: "off", spellcheck: "false", required: "", "aria-describedby": "token-says", autofocus: "" }),
      h("button", "b", { type: "submit", "class": "send" }, "Sign in"),
      h("p", "w", { id: "token-says", role: "status", "class": it.shown.refused ? "says act" : "says quiet" }, it.shown.refused || page.sign_in.says)]))];
  }

  it.views["sign-in"] = function (page) {
    var me = page.me || {};
    return [it.markSheet(), it.head(page, false), it.ways(page), it.bar(page), it.lostBar(),
      h("main", "main", { "class": "sheet narrow" }, [h("section", "sign", {}, [h("div", "band", { "class": "band" }, [h("h1", "t", {}, "Sign in")])].concat(me.signed ? signed(me) : field(page)))]),
      h("footer", "foot", { "class": "foot" }, page.foot)];
  };
})();

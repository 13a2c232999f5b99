// The page of a case that is taken along. It starts the program in this file, shows what it
// answers as text, and keeps what was said: in the browser where the browser does so,
// and as a file or as text wherever somebody saves it. There is no network in it.
"use strict";
(function () {
  var whole = "<!doctype html>\n" + document.documentElement.outerHTML; // before anything of it changes
  var about = JSON.parse(part("about"));
  var site = "take-" + random(10);
  var prefix = "downdrop-" + about.id + "-";
  var keeps = false, saved = 0, view = null, open = "";

  function part(id) { return document.getElementById(id).textContent; }

  function random(n) {
    return Array.from(crypto.getRandomValues(new Uint8Array(n)), function (b) { return (b + 256).toString(16).slice(1); }).join("");
  }

  function unpack(id) {
    var letters = atob(part(id)), bytes = new Uint8Array(letters.length);
    for (var i = 0; i < letters.length; i++) { bytes[i] = letters.charCodeAt(i); }
    return new Response(new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip")));
  }

  function ask(request) { return JSON.parse(downdropDo(JSON.stringify(request))); }

  // What the browser keeps. Each time this file is opened it writes under a name of its own, and
  // takes in what it wrote before, so two windows never spoil each other's.
  function kept() {
    var out = [];
    for (var i = 0; i < localStorage.length; i++) {
      var key = localStorage.key(i);
      if (key.indexOf(prefix) === 0) { out.push(key); }
    }
    return out;
  }
  function takeUp() {
    try {
      localStorage.setItem(prefix + "try", "1");
      keeps = localStorage.getItem(prefix + "try") === "1";
      localStorage.removeItem(prefix + "try");
      var keys = kept();
      keys.forEach(function (key) { ask({ do: "merge", text: localStorage.getItem(key) || "", form: random(16) }); });
      if (ask({ do: "text" }).entries > saved) { keep(caseText()); }
      if (localStorage.getItem(prefix + site)) { keys.forEach(function (key) { localStorage.removeItem(key); }); }
    } catch (e) { keeps = false; }
  }
  function keep(text) {
    document.getElementById("case").textContent = "\n" + text + "\n"; // a browser's own "save page" has it too
    if (!keeps) { return; }
    try { localStorage.setItem(prefix + site, text); } catch (e) { keeps = false; }
  }
  function caseText() { return ask({ do: "text" }).parts.join("\n\n"); }

  // Elements with their texts; never markup.
  function el(name, has, inside) {
    var e = document.createElement(name);
    Object.keys(has || {}).forEach(function (key) {
      if (key === "on") { Object.keys(has.on).forEach(function (what) { e.addEventListener(what, has.on[what]); }); } else if (has[key] !== null && has[key] !== false) { e.setAttribute(key, has[key] === true ? "" : has[key]); }
    });
    (inside === undefined ? [] : [].concat(inside)).forEach(function (x) { if (x) { e.append(x); } });
    return e;
  }
  function lines(list, name, has) { return (list || []).map(function (x) { return el(name || "p", has, x); }); }
  function field(id, says, has) { return [el("label", { for: id }, says), el((has || {}).rows ? "textarea" : "input", Object.assign({ id: id, name: id, autocomplete: "off" }, has))]; }
  function form(has, inside, send) {
    var f = el("form", has, inside);
    f.addEventListener("submit", function (event) { event.preventDefault(); send(new FormData(f), event.submitter); });
    return f;
  }

  function say(request) {
    request.form = random(16);
    request.about = request.about || view.about;
    document.body.classList.add("busy");
    setTimeout(function () { // so that the press is seen before the program thinks
      var next = ask(request);
      document.body.classList.remove("busy");
      if (next.error) { notice(next.error); return; }
      if (next.entries !== view.entries) { keep(caseText()); }
      show(next, true);
    }, 0);
  }
  function explain(what) { show(ask({ do: "show", explain: what }), true); }
  function notice(text) {
    var status = document.getElementById("status");
    status.replaceChildren(el("p", { class: "not" }, text));
    status.scrollIntoView({ block: "center" });
  }

  function question(v) {
    var sure = function (data) { return { sure: data.get("sure") || "" }; };
    var box = el("section", { class: "box" + (v.call ? " script" : ""), "aria-labelledby": "asked", "data-kind": v.about.kind, "data-about": v.about.id || "" });
    if (v.call) {
      box.append(el("p", { class: "how" }, "Read out what stands here." + (v.call.may ? " This caller only looks and reads out: opens no cabinet, touches no plug, module, meter, force, mode key or breaker. For more: “Please get someone who may.”" : "")));
    }
    v.warnings.forEach(function (w) { box.append(el("p", { class: "warning" }, [w.word ? el("strong", {}, w.word) : null, " " + w.says])); });
    v.asks.forEach(function (a) {
      box.append(a.lead ? el("h2", { id: "asked", class: "lead" }, a.says) : a.mark ? el("p", { class: "step" }, [el("b", {}, a.mark), " " + a.says]) : el("p", {}, a.says));
    });
    if (v.reading) {
      box.append(form({ class: "reading" }, [el("label", { for: "reading" }, "As the instrument shows it"),
        el("div", { class: "row" }, [el("input", { id: "reading", name: "reading", inputmode: "decimal", autocomplete: "off", maxlength: "60" })].concat(v.reading.units.map(function (u) { return el("button", { name: "unit", value: u }, u || "enter"); })))],
      function (data, button) { say({ do: "answer", reads: v.reading.id, text: data.get("reading"), unit: button ? button.value : v.reading.units[0] }); }));
    }
    if (v.answers && v.answers.length) {
      var inside = v.answers.map(function (a) {
        return el("button", { class: "answer", name: "chosen", value: a.entry, "data-key": a.key }, [el("span", { class: "terminal", "aria-hidden": "true" }, a.key), el("span", {}, a.says + (a.here ? " (here: " + a.here + ")" : ""))]);
      });
      if (v.facts) {
        inside.unshift(el("fieldset", { class: "facts" }, [el("legend", {}, "Tick each line that somebody there has just seen to be so:")].concat(v.facts.map(function (f, i) {
          return el("div", { class: "fact" }, [el("p", { class: "warning", id: "warn" + i }, [el("strong", {}, f.word), " " + f.says]),
            el("label", {}, [el("input", { type: "checkbox", name: "fact", value: f.warning, "aria-describedby": "warn" + i }), " " + f.confirms])]);
        }), v.confirmed ? el("ul", { class: "heard", "aria-label": "Confirmed already" }, v.confirmed.map(function (f) { return el("li", {}, f.confirms); })) : [])));
      } else if (v.call) {
        inside.unshift(el("fieldset", { class: "sure" }, [el("legend", {}, "How sure did the caller seem?")].concat([["", "sure"], ["0.8", "thinks so"], ["0.6", "not sure"]].map(function (x, i) {
          return el("label", {}, [el("input", { type: "radio", name: "sure", value: x[0], checked: i === 0 }), " " + x[1]]);
        }))));
      }
      box.append(form({ class: "answers" }, inside, function (data, button) { say(Object.assign({ do: "answer", text: button.value, chosen: true, facts: data.getAll("fact") }, sure(data))); }));
    }
    box.append(el("div", { class: "aside" }, [press("Why this?", function () { explain("why"); }), v.can_undo ? press("Take the last back", function () { say({ do: "undo" }); }) : null,
      press("What else is there?", function () { explain("else"); }), press("What would be needed?", function () { explain("need"); })]));
    return box;
  }
  function press(says, what) { return el("button", { class: "small", type: "button", on: { click: what } }, says); }

  function agree() {
    return el("section", { class: "box", "aria-labelledby": "agree" }, [el("h2", { id: "agree", class: "lead" }, "Before anything beyond looking, agree with the caller"),
      el("p", {}, "Read out: “Before you do more than look, tell me who is there that may switch off. When do I call you back, and whom do I call if you do not answer?”"),
      form({}, [].concat(field("off", "Who can switch off (the role, not the name)", { maxlength: "120" }), field("back", "When to call back", { maxlength: "120" }), field("else", "Whom to call if the caller stops answering (the role, not the name)", { maxlength: "120" }), el("button", { class: "go" }, "Agreed")),
        function (data) { say({ do: "agree", off: data.get("off"), back: data.get("back"), else: data.get("else") }); }),
      el("p", {}, "If nobody may: “Please get someone who may; I keep the case, its code is " + view.code + ".”")]);
  }

  var rest, asked = 0;
  function words() {
    var found = el("div", { id: "hearing", "aria-live": "polite" });
    var input = el("input", { id: "entry", name: "entry", autocomplete: "off", maxlength: "4000" });
    input.addEventListener("input", function () {
      clearTimeout(rest);
      rest = setTimeout(function () {
        var n = ++asked, r = ask({ do: "hearing", text: input.value });
        if (n !== asked || !found.isConnected) { return; }
        found.replaceChildren.apply(found, [].concat(r.heard && r.heard.length ? [el("p", {}, "Would be taken in:"), el("ul", { class: "heard" }, lines(r.heard, "li"))] : [], (r.questions || []).map(function (q) {
          return el("div", { class: "found" }, [el("p", {}, q.Says[0]), el("div", { class: "few" }, (q.Answers || []).map(function (a) {
            return el("button", { type: "button", on: { click: function () { say({ do: "answer", text: a.entry, chosen: true, about: { kind: q.Kind, id: q.ID } }); } } }, a.says);
          }))]);
        })));
      }, 300);
    });
    return [form({ class: "words" }, [el("label", { for: "entry" }, "Anything else that was seen or done, in your own words"), el("div", { class: "row" }, [input, el("button", {}, "Say")])],
      function () { say({ do: "answer", text: input.value }); }), found];
  }

  // The ways back to where the case is kept.
  function back() {
    var says = keeps ? "What you answer is kept in this browser, for this file at this place. Save it all the same: a browser that is cleared forgets it."
      : "This browser keeps nothing of a file: what you answer is lost with this page. Save before you close it.";
    return el("section", { class: "take", "aria-labelledby": "take" }, [el("h2", { id: "take" }, "Take it back"), el("p", {}, says), el("p", { id: "unsaved", role: "status" }, count()),
      el("button", { class: "go", type: "button", id: "save", on: { click: save } }, "Save as a file"),
      press("Show as text", function () { open = open === "text" ? "" : "text"; show(view); document.getElementById(open === "text" ? "astext" : "take").scrollIntoView(); }),
      open === "text" ? el("div", {}, [el("label", { for: "astext" }, "The whole case as text: paste it into a message"), el("textarea", { id: "astext", class: "paste", readonly: true, rows: "8" }, caseText()), press("Copy", copy)]) : null,
      el("details", {}, [el("summary", {}, "Take answers in from another phone"), form({}, field("merge", "The text of the same case, with whatever stands around it", { rows: "6", class: "paste" }).concat(el("button", { class: "small" }, "Take it in")), function (data) {
        var next = ask({ do: "merge", text: data.get("merge"), form: random(16) });
        if (next.error) { notice(next.error); return; }
        keep(caseText()); show(next, true);
      })]),
      el("p", { class: "how" }, "Where the case is kept, “downdrop case receive” takes in the saved file or the text. Nothing that was said there meanwhile is lost, and taking it in twice is the same as once.")]);
  }
  function unsaved() { return view ? view.entries - saved : 0; }
  function count() { var n = unsaved(); return n <= 0 ? "Nothing is waiting to be saved." : n === 1 ? "1 entry is not saved as a file yet." : n + " entries are not saved as a file yet."; }

  function save() {
    var mark = '<script type="text/plain" id="case">', from = whole.indexOf(mark) + mark.length, to = whole.indexOf("<" + "/script>", from);
    var link = el("a", { href: URL.createObjectURL(new Blob([whole.slice(0, from), "\n", caseText(), "\n", whole.slice(to)], { type: "text/html" })), download: about.file });
    link.click();
    setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
    saved = view.entries;
    document.getElementById("unsaved").textContent = "Saved as " + about.file + ", among this browser's downloads. " + count();
  }
  function copy() {
    var box = document.getElementById("astext"), done = function () { notice("Copied."); };
    box.focus(); box.select();
    if (navigator.clipboard) { navigator.clipboard.writeText(box.value).then(done, function () { document.execCommand("copy"); done(); }); } else { document.execCommand("copy"); done(); }
  }

  function causes(v) {
    if (!v.causes || !v.causes.length) { return null; }
    var svg = function (name, has) { var e = document.createElementNS("http://www.w3.org/2000/svg", name); Object.keys(has).forEach(function (k) { e.setAttribute(k, has[k]); }); return e; };
    return el("section", { "aria-labelledby": "likely" }, [el("h2", { id: "likely" }, "What it can be"), el("ol", { class: "causes", id: "causes" }, v.causes.map(function (c) {
      var bar = svg("svg", { class: "bar", viewBox: "0 0 100 4", preserveAspectRatio: "none", "aria-hidden": "true" });
      bar.append(svg("rect", { width: 100, height: 4 }), svg("rect", { class: "full", width: c.width, height: 4 }));
      return el("li", {}, [el("span", { class: "name" }, c.name), " ", el("span", { class: "chance" }, c.chance), bar]);
    }))].concat(lines(v.others)));
  }

  function show(v, focus) {
    if (v.error) { notice(v.error); return; }
    view = v;
    document.title = v.title;
    document.getElementById("title").textContent = v.title;
    document.getElementById("where").textContent = v.where;
    var left = [el("section", { class: "short", "aria-label": "In short" }, lines(v.summary))];
    if (v.still && v.still.length) { left.push(el("section", { class: "still", "aria-labelledby": "still" }, [el("h2", { id: "still" }, "Still in place"), el("ul", {}, lines(v.still, "li"))])); }
    left.push(el("div", { id: "status", role: "status" }, [v.heard && v.heard.length ? el("ul", { class: "heard", "aria-label": "Taken in" }, lines(v.heard, "li")) : null].concat(lines(v.not_heard, "p", { class: "not" }), lines(v.notices, "p", { class: "note" }))));
    if (v.explanation.length) { left.push(el("section", { class: "explained", "aria-label": "Why" }, lines(v.explanation))); }
    if (v.closed) { left.push(el("section", { class: "box" }, el("p", { class: "lead" }, "This case is closed. It is opened again where it is kept."))); } else {
      left.push(v.call && v.call.settle ? agree() : question(v));
      left = left.concat(words());
    }
    var known = v.known || [];
    document.getElementById("main").replaceChildren(el("div", { class: "desk" }, [el("div", {}, left), el("div", { class: "beside" }, [back(), causes(v),
      el("details", { open: known.length <= 8 }, [el("summary", {}, "What is known (" + known.length + ")"), el("ul", { class: "ruled" }, lines(known, "li"))])])]));
    if (focus) { scrollTo(0, 0); document.getElementById("main").focus({ preventScroll: true }); }
  }

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.altKey || event.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName)) { return; }
    var button = Array.from(document.querySelectorAll("button[data-key]")).find(function (b) { return b.dataset.key === event.key; });
    if (button) { event.preventDefault(); button.click(); }
  });
  addEventListener("beforeunload", function (event) { if (unsaved() > 0 && !keeps) { event.preventDefault(); event.returnValue = ""; } });

  function sorry(why) {
    document.getElementById("main").replaceChildren(el("p", { class: "lead" }, "The program in this file does not start in this browser: " + why), el("p", {}, "A newer browser will do. The case itself is in the file: “downdrop case receive” takes the whole file in, or the text below."), el("textarea", { class: "paste", readonly: true, rows: "10", "aria-label": "The whole case as text" }, part("case").trim()));
  }
  if (!window.WebAssembly || !window.DecompressionStream) { sorry("it lacks WebAssembly or DecompressionStream."); return; }
  var go = new Go();
  Promise.all([unpack("rulebase").text(), unpack("engine").arrayBuffer()]).then(function (got) {
    return WebAssembly.instantiate(got[1], go.importObject).then(function (made) {
      go.run(made.instance);
      var wrong = downdropOpen(JSON.stringify({ base: got[0], case: part("case"), site: site, program: about.program, by: about.by }));
      if (wrong) { throw new Error(wrong); }
      saved = ask({ do: "text" }).entries;
      takeUp();
      show(ask({ do: "show" }), false);
      document.body.setAttribute("data-ready", "");
    });
  }).catch(function (e) { sorry(String(e && e.message || e)); });
})();

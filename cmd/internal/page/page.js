// Spares reloads, answers by keys, and keeps an answer while there is no network. All of
// the page works without it.
"use strict";
(function () {
  var kept = "downdrop-unsent";

  function store(value) {
    try { if (value) localStorage.setItem(kept, JSON.stringify(value)); else localStorage.removeItem(kept); } catch (e) { /* then it is only on the screen */ }
  }
  function unsent() {
    try { return JSON.parse(localStorage.getItem(kept)); } catch (e) { return null; }
  }

  function put(text, url, focus) {
    var page = new DOMParser().parseFromString(text, "text/html");
    var main = page.querySelector("main");
    if (!main) { location.assign("/"); return; }
    document.querySelector("main").replaceWith(main);
    document.querySelector("header").replaceWith(page.querySelector("header"));
    document.title = page.title;
    history.replaceState(null, "", url);
    if (focus) { scrollTo(0, 0); }
    fresh = performance.now();
    ready(focus);
  }

  // A glove that taps twice means one answer: what then lies under the finger is another question,
  // that nobody has read yet. Keys make clicks without a count and are not held up.
  var fresh = 0, tapped = 0;
  document.addEventListener("click", function (event) {
    if (!event.detail) { return; }
    var twice = event.timeStamp - tapped < 300 && fresh > tapped;
    tapped = event.timeStamp;
    if (twice) { event.preventDefault(); event.stopPropagation(); }
  }, true);

  // ready says which key leads to the words, and begins among what is asked.
  function ready(focus) {
    var label = document.querySelector("label[for=entry]");
    if (label) { label.append(" (key /)"); }
    if (focus) { document.querySelector("main").focus({ preventScroll: true }); }
  }

  function say(text) {
    var old = document.getElementById("unsent");
    if (old) { old.remove(); }
    if (!text) { return; }
    var p = document.createElement("p");
    p.id = "unsent"; p.className = "waiting"; p.setAttribute("role", "alert"); p.textContent = text;
    document.querySelector("main").append(p);
  }

  function send(what) {
    store(what);
    return fetch(what.to, { method: "POST", headers: { "Downdrop-Page": "1" }, body: new URLSearchParams(what.body), credentials: "same-origin" }).then(function (r) {
      return r.text().then(function (text) {
        if (r.status !== 403 && r.status < 500) { store(null); }
        put(text, r.ok || r.redirected ? r.url.replace(/\/answer$/, "") : location.href, true);
      });
    }, function () {
      say("No connection. Your answer is kept here and sent as soon as there is one; you may also press again.");
      setTimeout(again, 3000);
    });
  }
  function again() { var what = unsent(); if (what) { send(what); } }

  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (!form.hasAttribute("data-keep") || !window.fetch || !window.DOMParser) { return; }
    event.preventDefault();
    var body = Array.from(new FormData(form).entries());
    if (event.submitter && event.submitter.name) { body.push([event.submitter.name, event.submitter.value]); }
    send({ to: form.getAttribute("action"), body: body });
  });

  // Keys without a further one held count only while the focus is among what is asked, never while
  // somebody types: who speaks to a computer sets off nothing by a word.
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.altKey || event.metaKey || !event.target.closest("main") || /^(TEXTAREA|SELECT)$/.test(event.target.tagName) || event.target.matches("input:not([type=radio]):not([type=checkbox])")) { return; }
    var words = document.getElementById("entry");
    if (event.key === "/" && words) { event.preventDefault(); words.focus(); return; }
    var button = Array.from(document.querySelectorAll("button[data-key]")).find(function (b) { return b.dataset.key === event.key; });
    if (button) { event.preventDefault(); button.click(); }
  });

  // What is being typed is looked up once the fingers rest; only the newest is shown.
  var rest, asked = 0;
  document.addEventListener("input", function (event) {
    var to = event.target.dataset.hearing;
    if (!to) { return; }
    clearTimeout(rest);
    rest = setTimeout(function () {
      var n = ++asked;
      fetch(to, { method: "POST", body: new URLSearchParams({ entry: event.target.value }), credentials: "same-origin" }).then(function (r) { return r.ok ? r.text() : ""; }).then(function (text) {
        var here = document.getElementById("hearing");
        if (n !== asked || !here) { return; }
        var found = new DOMParser().parseFromString(text, "text/html").querySelector("main");
        here.replaceChildren.apply(here, found ? Array.from(found.childNodes) : []);
      }, function () { /* it is only a help */ });
    }, 150);
  });

  ready(!location.hash && document.querySelector("button[data-key]"));
  addEventListener("online", again);
  again();
})();

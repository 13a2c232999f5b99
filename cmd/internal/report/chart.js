"use strict";
(function () {
  var body = document.body, key = "downdrop-chart-" + body.dataset.sheet;
  var trail = [];
  function store(value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch (e) { /* not allowed: the address remembers */ } }
  function stored() { try { return JSON.parse(localStorage.getItem(key)) || {}; } catch (e) { return {}; } }
  function id() { return location.hash.slice(1); }
  function valid(name) { var e = name && document.getElementById(name); return e && e.classList.contains("place") ? e : null; }
  function show() {
    var here = valid(id()) || document.querySelector(".place");
    document.querySelectorAll(".here").forEach(function (e) { e.classList.remove("here"); });
    if (!here) { return; }
    here.classList.add("here");
    var cut = trail.findIndex(function (t) { return "p" + t.from === here.id; });
    if (cut >= 0) { trail = trail.slice(0, cut); }
    store({ at: here.id, trail: trail });
    var list = document.getElementById("trail");
    list.textContent = "";
    trail.forEach(function (t) { var li = document.createElement("li"); li.textContent = t.asked + " " + t.says; list.appendChild(li); });
    list.parentElement.hidden = trail.length === 0;
    document.getElementById("back").disabled = trail.length === 0;
    here.focus({ preventScroll: true });
    window.scrollTo(0, 0);
  }
  document.addEventListener("click", function (event) {
    var way = event.target.closest("a.way");
    if (way) {
      var place = document.getElementById("p" + way.dataset.from);
      var asked = place.querySelector(".read") || place.querySelector(".do");
      var to = way.getAttribute("href").slice(1);
      trail.push({ from: way.dataset.from, says: way.dataset.says, asked: asked ? asked.textContent : "" });
      store({ at: to, trail: trail }); // at once: the phone may go dark before the page has turned
    }
  });
  document.getElementById("back").addEventListener("click", function () {
    var last = trail.pop();
    if (last) { location.hash = "p" + last.from; if (id() === "p" + last.from) { show(); } }
  });
  document.getElementById("again").addEventListener("click", function () { trail = []; location.hash = "p1"; show(); });
  document.getElementById("all").addEventListener("click", function () {
    var one = body.classList.toggle("one");
    this.textContent = one ? "Whole chart" : "One at a time";
  });
  window.addEventListener("hashchange", show);
  body.classList.add("one");
  document.querySelector(".controls").hidden = false;
  var before = stored();
  trail = Array.isArray(before.trail) ? before.trail : [];
  if (!valid(id()) && valid(before.at)) { location.replace("#" + before.at); }
  show();
})();

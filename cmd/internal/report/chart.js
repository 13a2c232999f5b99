"use strict";
(function () {
  var body = document.body, key = "downdrop-chart-" + body.dataset.sheet;
  var back = document.getElementById("back"), all = document.getElementById("all");
  var ways = {}; // place: the answer that leads there
  document.querySelectorAll("a.way").forEach(function (a) { ways[a.getAttribute("href").slice(1)] = a; });
  function keep(id) { try { localStorage.setItem(key, id); } catch (e) { /* not allowed: the address remembers */ } }
  function kept() { try { return localStorage.getItem(key); } catch (e) { return null; } }
  function place(id) { var e = id && document.getElementById(id); return e && e.classList.contains("place") ? e : null; }
  function here() { return place(location.hash.slice(1)) || document.querySelector(".place"); }
  function answers(id) { // from the beginning to a place
    var path = [];
    for (var a = ways[id]; a; a = ways["p" + a.dataset.from]) { path.unshift(a); }
    return path;
  }
  function go(id) { if (location.hash === "#" + id) { show(); } else { location.hash = id; } }
  function show() {
    var now = here(), path = answers(now.id), list = document.getElementById("trail");
    document.querySelectorAll(".here").forEach(function (e) { e.classList.remove("here"); });
    now.classList.add("here");
    body.classList.toggle("begin", path.length === 0);
    keep(now.id);
    list.textContent = "";
    path.forEach(function (a) {
      var li = document.createElement("li"), says = document.createElement("strong");
      says.textContent = a.dataset.says;
      li.append(place("p" + a.dataset.from).dataset.asked + " ", says);
      list.appendChild(li);
    });
    list.parentElement.hidden = path.length === 0;
    back.disabled = path.length === 0;
    now.focus({ preventScroll: true });
    if (body.classList.contains("one")) { window.scrollTo(0, 0); } else { now.scrollIntoView(); }
  }
  document.addEventListener("click", function (event) {
    var way = event.target.closest("a.way");
    if (way) { keep(way.getAttribute("href").slice(1)); } // at once: the phone may go dark before the page has turned
  });
  back.addEventListener("click", function () {
    var way = ways[here().id];
    if (way) { go("p" + way.dataset.from); }
  });
  document.getElementById("again").addEventListener("click", function () { go("p1"); });
  all.addEventListener("click", function () {
    all.textContent = body.classList.toggle("one") ? "Whole chart" : "One at a time";
    show();
  });
  window.addEventListener("hashchange", show);
  body.classList.add("one");
  document.querySelector(".controls").hidden = false;
  if (!place(location.hash.slice(1)) && place(kept())) { location.replace("#" + kept()); }
  show();
})();

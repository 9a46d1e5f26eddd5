/* A sheet that renews itself: asks again and again whether it still looks the same, and puts in only what does not.
   What somebody works in stays as it is until they have left it. Without this file the page shows what was so when it
   was opened. */
(function () {
  "use strict";

  var sheet = document.querySelector("[data-live]");
  if (!sheet) { return; }
  var said = document.getElementById("sheet-said");
  var seen = document.querySelector("[data-seen]");
  var bell = document.querySelector(".bell");
  var pause = document.querySelector("[data-pause]");
  var words = sheet.dataset;
  var usual = Number(words.live), slowest = 60000;
  var wait = usual, tag = words.tag, timer = 0, asking = false, failed = false, held = null;
  var paused = read() === "yes";

  function read() {
    try { return window.sessionStorage.getItem("shelfbell-paused"); } catch (_) { return null; }
  }

  function write(value) {
    try { window.sessionStorage.setItem("shelfbell-paused", value); } catch (_) { /* then it lasts for this page */ }
  }

  function text(part) { return part.textContent.replace(/\s+/g, " "); }

  function busy(part) {
    var selected = window.getSelection();
    return part.contains(document.activeElement) ||
      (selected && !selected.isCollapsed && selected.containsNode(part, true));
  }

  /* What rang is put on top, so that only what is new is read aloud; what is over an hour old goes. */
  function ring(page) {
    var list = bell.querySelector("ul");
    var fresh = Array.from(page.querySelectorAll(".bell li"));
    var stamp = function (line) { return line.dataset.stamp; };
    var known = Array.from(list.children).map(stamp), kept = fresh.map(stamp);
    Array.from(list.children).forEach(function (line) {
      if (kept.indexOf(stamp(line)) < 0 && !busy(line)) { line.remove(); }
    });
    var rung = fresh.filter(function (line) { return known.indexOf(stamp(line)) < 0; });
    rung.reverse().forEach(function (line) { list.prepend(document.importNode(line, true)); });
    bell.hidden = !list.children.length;
    return rung.length;
  }

  /* How many deliveries, calls and replies wait, beside the names of the pages. */
  function count(page) {
    page.querySelectorAll(".nav > a").forEach(function (link) {
      var here = document.querySelector(".nav > a[href=\"" + link.getAttribute("href") + "\"]");
      if (here && !here.isEqualNode(link)) { here.replaceChildren.apply(here, Array.from(link.childNodes)); }
    });
  }

  /* The line that is read at the top of the window stays where it is, whatever grows above it. */
  function place() {
    var lines = Array.from(sheet.querySelectorAll(".line .number"));
    var top = lines.find(function (one) { return one.getBoundingClientRect().top >= 0; });
    if (!top || window.scrollY === 0) { return function () { return null; }; }
    var part = top.closest("#sheet > *").id, href = top.getAttribute("href"), before = top.getBoundingClientRect().top;
    return function () {
      var again = document.querySelector("#" + part + " .number[href=\"" + href + "\"]");
      if (again) { window.scrollBy(0, again.getBoundingClientRect().top - before); }
    };
  }

  function keepOpen(old, fresh) {
    [fresh].concat(Array.from(fresh.querySelectorAll("details[id]"))).forEach(function (one) {
      var was = one === fresh ? old : old.querySelector("#" + one.id);
      if (was && one.tagName === "DETAILS") { one.open = was.open; }
    });
  }

  /* Puts one part in place of the old one; whether its words are others. */
  function renew(old, fresh) {
    keepOpen(old, fresh);
    if (old.isEqualNode(fresh)) { return false; }
    if (busy(old)) { held = true; return false; }
    var changed = text(old) !== text(fresh);
    old.replaceWith(fresh);
    return changed;
  }

  function title(part) {
    var head = part.querySelector("h2, summary");
    return head ? text(head).trim() : "";
  }

  function take(page) {
    var fresh = page.getElementById("sheet");
    if (!fresh) { return; }
    held = null;
    var stay = place(), last = null, changed = [];
    var gone = Array.from(sheet.children);
    Array.from(fresh.children).forEach(function (one) {
      var old = gone.find(function (part) { return part.id === one.id; });
      var new_ = document.importNode(one, true);
      gone = gone.filter(function (part) { return part !== old; });
      if (old ? renew(old, new_) : true) { changed.push(title(one)); }
      if (!old) { last ? last.after(new_) : sheet.prepend(new_); }
      last = document.getElementById(one.id);
    });
    gone.forEach(function (part) { if (busy(part)) { held = true; } else { part.remove(); changed.push(title(part)); } });
    count(page);
    stay();
    if (held) { held = page; }
    announce(ring(page), changed.filter(Boolean));
    seen.textContent = page.querySelector("[data-seen]").textContent;
  }

  /* One short sentence. What rang is read by itself. */
  function announce(rung, changed) {
    if (rung || !changed.length) { said.textContent = ""; return; }
    said.textContent = changed.length > 2 ? words.many : words.said + " " + changed.join("; ") + ".";
  }

  function stillSo(answer) {
    var at = new Date(answer.headers.get("Date") || Date.now());
    seen.textContent = at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: words.zone });
  }

  function read200(answer) {
    var fresh = (answer.headers.get("ETag") || "").replace(/^W\//, "").replace(/"/g, "");
    return answer.text().then(function (whole) {
      take(new DOMParser().parseFromString(whole, "text/html"));
      tag = fresh;
    });
  }

  function over() {
    said.textContent = words.over;
    timer = -1;
  }

  function ask() {
    if (paused || document.hidden || asking || timer === -1) { return; }
    asking = true;
    var began = Date.now();
    fetch(window.location.pathname + window.location.search, {
      credentials: "same-origin", redirect: "manual", cache: "no-store",
      headers: { "If-None-Match": "W/\"" + tag + "\"", "Shelfbell-By-Itself": "1" }
    })
      .then(function (answer) {
        if (answer.type === "opaqueredirect") { return over(); }
        if (answer.status === 304) { return stillSo(answer); }
        return answer.ok ? read200(answer) : Promise.reject(new Error("no answer"));
      })
      .then(function () {
        if (failed && timer !== -1) { said.textContent = words.back; }
        failed = false;
        wait = Math.max(usual, 8 * (Date.now() - began));
      })
      .catch(function () {
        if (!failed) { said.textContent = words.failed; }
        failed = true;
        wait = Math.min(2 * wait, slowest);
      })
      .then(function () { asking = false; soon(wait); });
  }

  function soon(milliseconds) {
    if (timer === -1) { return; }
    window.clearTimeout(timer);
    timer = window.setTimeout(ask, milliseconds);
  }

  function showPause() {
    pause.textContent = paused ? pause.dataset.on : pause.dataset.off;
    document.querySelector("[data-renews]").hidden = paused;
  }

  pause.addEventListener("click", function () {
    paused = !paused;
    write(paused ? "yes" : "");
    showPause();
    said.textContent = paused ? words.paused : "";
    soon(0);
  });
  sheet.addEventListener("focusout", function () {
    window.setTimeout(function () { if (held) { take(held); } }, 0);
  });
  document.addEventListener("visibilitychange", function () { soon(0); });
  window.addEventListener("pageshow", function (event) { if (event.persisted) { soon(0); } });
  showPause();
  soon(wait);
}());

/* The shop's bell on the day sheet: asks whether it rang, and puts what is new on top. Without it the page
   shows what rang when it was opened. */
(function () {
  "use strict";

  var bell = document.querySelector("[data-bell]");
  if (!bell) { return; }
  var list = bell.querySelector("ul");
  var tag = "W/\"bell-" + bell.dataset.stamp + "\"";
  var asking = false;

  function stampOf(line) { return Number(line.dataset.stamp); }

  /* Only what is new is put in, so that only that is read aloud; what is over an hour old goes. */
  function take(text) {
    var page = new DOMParser().parseFromString("<ul>" + text + "</ul>", "text/html");
    var fresh = Array.from(page.querySelectorAll("li"));
    var known = Array.from(list.children).map(stampOf);
    var kept = fresh.map(stampOf);
    Array.from(list.children).forEach(function (line) {
      if (kept.indexOf(stampOf(line)) < 0) { line.remove(); }
    });
    fresh.reverse().forEach(function (line) {
      if (known.indexOf(stampOf(line)) < 0) { list.prepend(document.importNode(line, true)); }
    });
    bell.hidden = !list.children.length;
  }

  function ask() {
    if (document.hidden || asking) { return; }
    asking = true;
    fetch("/bell", { credentials: "same-origin", redirect: "error", headers: { "If-None-Match": tag } })
      .then(function (answer) {
        if (answer.status === 304) { return null; }
        if (!answer.ok) { return Promise.reject(new Error("no answer")); }
        tag = answer.headers.get("ETag") || tag;
        return answer.text().then(function (text) {
          take(text);
          document.dispatchEvent(new Event("shelfbell:rang"));
        });
      })
      .catch(function () { return null; }) /* the sheet itself says when it cannot be renewed */
      .then(function () { asking = false; });
  }

  document.addEventListener("visibilitychange", ask);
  window.setInterval(ask, Number(bell.dataset.bell));
}());

/* Small comforts; every page works without this file. */
(function () {
  "use strict";

  var CLAIM = /shelfbell:[cpd]\/[a-z0-9]+|\/[cp]\/[a-z0-9]{16,}/i;

  function hintFor(field) {
    var id = field.id + "-scan-hint";
    var hint = document.getElementById(id);
    if (!hint) {
      hint = document.createElement("span");
      hint.id = id;
      hint.className = "scan-hint";
      hint.setAttribute("role", "status");
      field.insertAdjacentElement("afterend", hint);
    }
    return hint;
  }

  function looksScanned(field) {
    return field && field.name !== "scan" && field.matches("input, textarea") && CLAIM.test(field.value);
  }

  /* A scanner types like a keyboard; a code that lands in another field is answered with advice. */
  document.addEventListener("input", function (event) {
    var field = event.target;
    if (!field.matches || !field.matches("input, textarea") || field.name === "scan") { return; }
    if (looksScanned(field)) {
      hintFor(field).textContent = document.body.dataset.scanHint || "";
    } else if (document.getElementById(field.id + "-scan-hint")) {
      hintFor(field).textContent = "";
    }
  });

  /* Scanners end with Enter; do not let that send a half-filled form. */
  document.addEventListener("keydown", function (event) {
    if (event.key === "Enter" && looksScanned(event.target)) { event.preventDefault(); }
  });

  /* After a refused form the summary is read first. */
  var problems = document.querySelector(".problems");
  if (problems) { problems.tabIndex = -1; problems.focus(); }

  /* A form pressed twice is sent once. */
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    window.setTimeout(function () { delete form.dataset.sent; }, 4000);
  });

  /* The day sheet looks again by itself, unless paused or somebody is working inside it. */
  var sheet = document.querySelector("[data-refresh]");
  if (!sheet) { return; }
  document.querySelectorAll("[data-with-script]").forEach(function (one) { one.hidden = false; });

  var said = document.getElementById("sheet-said");

  function words(part) { return part.textContent.replace(/\s+/g, " "); }

  function showTime(page) {
    var seen = page.querySelector("[data-seen]");
    if (seen) { document.querySelector("[data-seen]").textContent = seen.textContent; }
  }

  function lookAgain() {
    if (document.hidden || sheet.contains(document.activeElement)) { return; }
    fetch(window.location.href, { credentials: "same-origin", redirect: "error" })
      .then(function (answer) { return answer.ok ? answer.text() : Promise.reject(new Error("no answer")); })
      .then(function (text) {
        var page = new DOMParser().parseFromString(text, "text/html");
        var fresh = page.getElementById(sheet.id);
        if (!fresh || sheet.contains(document.activeElement)) { return; }
        var changed = words(fresh) !== words(sheet);
        sheet.querySelectorAll("details[open][id]").forEach(function (one) {
          var again = fresh.querySelector("#" + one.id);
          if (again) { again.open = true; }
        });
        sheet.replaceChildren.apply(sheet, Array.from(fresh.childNodes));
        showTime(page);
        said.textContent = changed ? sheet.dataset.said : "";
      })
      .catch(function () { said.textContent = sheet.dataset.failed; });
  }

  window.setInterval(lookAgain, Number(sheet.dataset.refresh) * 1000);
  document.addEventListener("shelfbell:rang", lookAgain);
}());

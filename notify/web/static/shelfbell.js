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

  document.addEventListener("click", function (event) {
    if (event.target.matches("[data-print]")) { window.print(); }
  });

  document.querySelectorAll("[data-with-script]").forEach(function (one) { one.hidden = false; });
}());

// Filters what the page shows, and says what a mark stands for. The page is whole without it.
(function () {
  "use strict";
  var form = document.getElementById("filter");
  if (form) {
    var keys = ["season", "condition", "planter"];
    var parts = Array.prototype.slice.call(document.querySelectorAll("[data-season],[data-condition],[data-planter]"));
    var told = function (part, key) {
      var value = part.getAttribute("data-" + key);
      return value === null || value === "" ? [] : value.split("|");
    };
    keys.forEach(function (key) {
      var seen = {};
      parts.forEach(function (part) { told(part, key).forEach(function (value) { seen[value] = true; }); });
      Object.keys(seen).sort().forEach(function (value) {
        form.elements[key].appendChild(new Option(value, value));
      });
    });
    var show = function () {
      var hidden = 0;
      parts.forEach(function (part) {
        var fits = keys.every(function (key) {
          var wanted = form.elements[key].value, values = told(part, key);
          return wanted === "" || values.length === 0 || values.indexOf(wanted) >= 0;
        });
        if (fits) { part.removeAttribute("data-away"); } else { part.setAttribute("data-away", ""); hidden += 1; }
      });
      form.querySelector("output").textContent = hidden ? "Some of the page is hidden." : "";
    };
    form.addEventListener("change", show);
    form.addEventListener("submit", function (event) { event.preventDefault(); });
    form.hidden = false;
    show();
  }
  var label = null;
  var hide = function () { if (label) { label.remove(); label = null; } };
  var say = function (event) {
    var spot = event.target;
    hide();
    if (!spot.classList || !spot.classList.contains("spot")) { return; }
    var title = spot.querySelector("title");
    if (!title) { return; }
    label = document.createElement("div");
    label.className = "says-mark";
    label.setAttribute("role", "status");
    label.textContent = title.textContent;
    document.body.appendChild(label);
    var box = spot.getBoundingClientRect();
    var left = Math.min(box.left, document.documentElement.clientWidth - label.offsetWidth - 8);
    label.style.left = Math.max(8, left) + window.scrollX + "px";
    label.style.top = box.bottom + 8 + window.scrollY + "px";
  };
  document.addEventListener("pointerover", say);
  document.addEventListener("click", say);
  document.addEventListener("keydown", function (event) { if (event.key === "Escape") { hide(); } });
})();

"use strict";
(function () {
  var table = document.getElementById("records");
  var body = table.tBodies[0];
  var status = document.getElementById("status");
  var filter = document.getElementById("outcome");
  document.querySelector(".controls").hidden = false;

  function sortBy(heading, column) {
    var descending = heading.getAttribute("aria-sort") === "ascending";
    var rows = Array.prototype.map.call(body.rows, function (row, place) {
      var cell = row.cells[column];
      var value = cell ? cell.getAttribute("data-v") : null;
      return { row: row, place: place, value: value === null ? null : Number(value) };
    });
    rows.sort(function (a, b) {
      if (a.value === null || b.value === null) {
        return (a.value === null) - (b.value === null) || a.place - b.place;
      }
      return (descending ? b.value - a.value : a.value - b.value) || a.place - b.place;
    });
    var sorted = document.createDocumentFragment();
    rows.forEach(function (item) { sorted.appendChild(item.row); });
    body.appendChild(sorted);
    table.querySelectorAll("th[data-sort]").forEach(function (other) { other.setAttribute("aria-sort", "none"); });
    heading.setAttribute("aria-sort", descending ? "descending" : "ascending");
    tell();
  }

  function tell() {
    var shown = 0;
    Array.prototype.forEach.call(body.rows, function (row) {
      row.hidden = filter.value !== "" && row.getAttribute("data-outcome") !== filter.value;
      shown += row.hidden ? 0 : 1;
    });
    var heading = table.querySelector("th[aria-sort=ascending], th[aria-sort=descending]");
    status.textContent = shown + " of " + body.rows.length + " shown" +
      (heading ? ", sorted by " + heading.querySelector("button").textContent.toLowerCase() + ", " + heading.getAttribute("aria-sort") : "");
  }

  Array.prototype.forEach.call(table.tHead.rows[0].cells, function (heading, column) {
    if (!heading.hasAttribute("data-sort")) { return; }
    var button = document.createElement("button");
    button.type = "button";
    button.textContent = heading.textContent;
    // The plain text is kept for paper: buttons are not repeated at the head of every page.
    var plain = document.createElement("span");
    plain.textContent = heading.textContent;
    heading.textContent = "";
    heading.append(plain, button);
    heading.setAttribute("aria-sort", "none");
    button.addEventListener("click", function () { sortBy(heading, column); });
  });
  filter.addEventListener("change", tell);
  tell();

  var dialog = document.getElementById("enlarged");
  if (table.className === "large" && dialog.showModal) {
    body.addEventListener("click", function (event) {
      var link = event.target.closest("a");
      var image = link && link.querySelector("img");
      if (!image || event.ctrlKey || event.metaKey || event.shiftKey) { return; }
      event.preventDefault();
      dialog.querySelector("img").src = image.src;
      dialog.querySelector("img").alt = image.alt;
      dialog.showModal();
    });
  }
}());

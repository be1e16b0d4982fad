(function () {
  "use strict";
  var one = function (selector) { return document.querySelector(selector); };
  var all = function (selector, within) { return Array.prototype.slice.call((within || document).querySelectorAll(selector)); };
  all(".scripted").forEach(function (part) { part.hidden = false; });

  // Ticks stay where the browser keeps anything; a preview may refuse, and says so by throwing.
  var key = "basemap:" + document.body.dataset.key;
  var boxes = all("#card input");
  var keep = function () {
    try {
      localStorage.setItem(key, JSON.stringify(boxes.filter(function (box) { return box.checked; }).map(function (box) { return box.id; })));
      one("#kept").textContent = "";
    } catch (refused) {
      one("#kept").textContent = "Ticks are lost when this page is closed.";
    }
  };
  try {
    var ticked = JSON.parse(localStorage.getItem(key) || "[]");
    boxes.forEach(function (box) { box.checked = ticked.indexOf(box.id) >= 0; });
  } catch (refused) {
    one("#kept").textContent = "Ticks are lost when this page is closed.";
  }
  boxes.forEach(function (box) { box.addEventListener("change", keep); });
  one("#untick").addEventListener("click", function () {
    boxes.forEach(function (box) { box.checked = false; });
    keep();
  });

  // What is folded is printed unfolded.
  window.addEventListener("beforeprint", function () {
    all("details:not([open])").forEach(function (part) { part.open = true; part.dataset.folded = ""; });
  });
  window.addEventListener("afterprint", function () {
    all("details[data-folded]").forEach(function (part) { part.open = false; delete part.dataset.folded; });
  });

  var data = one("#chains"), dialog = one("#cell");
  if (!data || !dialog.showModal) { return; }
  var chains = JSON.parse(data.textContent);
  var made = function (name, text, children) {
    var element = document.createElement(name);
    element.textContent = text || "";
    (children || []).forEach(function (child) { element.appendChild(child); });
    return element;
  };
  // The steps of a cell, each five texts: stage, symbol, figure, name, how.
  var steps = function (cell) {
    return chains.kinds[cell[0]].map(function (step) {
      return step.map(function (entry) { return chains.texts[typeof entry === "number" ? entry : entry[cell[1]]]; });
    });
  };
  var table = function (cell) {
    var drawn = made("table"), body = null, stage = null;
    drawn.className = "chain";
    steps(cell).forEach(function (step) {
      if (step[0] !== stage) {
        stage = step[0];
        var head = made("th", stage);
        head.colSpan = 2;
        body = drawn.appendChild(made("tbody"));
        body.appendChild(made("tr", "", [head]));
      }
      var said = made("td", "", [made("b", step[2]), document.createTextNode(" " + step[3])]);
      if (step[4]) { said.appendChild(made("small", "= " + step[4])); }
      var row = body.appendChild(made("tr", "", [made("td", step[1]), said]));
      if (step[4]) { row.className = "worked"; }
    });
    return drawn;
  };
  var grids = all(".grid"), columns = chains.columns;
  var place = function (cell) {
    return (cell.parentNode.rowIndex - 1) * columns + cell.cellIndex - 1;
  };
  var cellOf = function (grid, at) { return grid.rows[1 + Math.floor(at / columns)].cells[1 + at % columns]; };
  var show = function (grid, at) {
    var cell = cellOf(grid, at), corner = grid.rows[0].cells[0].textContent.split(" / ");
    one("#cell-title").textContent = grid.rows[0].cells[cell.cellIndex].textContent + " rpm, " +
      cell.parentNode.cells[0].textContent + " " + corner[0];
    one("#cell-values").textContent = grids.map(function (other) {
      return one("#" + other.dataset.grid + "-title").textContent + ": " + cellOf(other, at).textContent;
    }).join("; ");
    one("#cell-marks").textContent = (chains.marks[at] || []).join(", ");
    one("#cell-chain").textContent = "";
    one("#cell-chain").appendChild(table(chains.cells[at]));
    dialog.showModal();
    dialog.scrollTop = 0;
  };
  grids.forEach(function (grid) {
    grid.classList.add("alive");
    var now = cellOf(grid, 0);
    now.tabIndex = 0;
    var go = function (cell) { now.tabIndex = -1; now = cell; now.tabIndex = 0; now.focus(); };
    grid.addEventListener("click", function (event) {
      var cell = event.target.closest("td");
      if (cell) { go(cell); show(grid, place(cell)); }
    });
    grid.addEventListener("keydown", function (event) {
      var at = place(now), last = chains.cells.length - 1;
      var step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns, ArrowDown: columns }[event.key];
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); show(grid, at); }
      if (step && at + step >= 0 && at + step <= last) { event.preventDefault(); go(cellOf(grid, at + step)); }
    });
  });
}());

/**
 * What a page gains where scripts run; without them everything works all the same.
 * Tables sort by a press on a heading: the largest figure, or the first name, comes first; a second press turns the order round.
 */

/** @param {HTMLTableElement} table */
function makeSortable(table) {
  const headings = [...table.tHead.rows[0].cells];
  headings.forEach((heading, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.append(...heading.childNodes);
    button.addEventListener("click", () => sort(table, headings, column));
    heading.append(button);
  });
}

/**
 * @param {HTMLTableElement} table
 * @param {HTMLTableCellElement[]} headings
 * @param {number} column
 */
function sort(table, headings, column) {
  const isNumber = headings[column].classList.contains("number");
  const first = isNumber ? "descending" : "ascending";
  const second = isNumber ? "ascending" : "descending";
  const order = headings[column].getAttribute("aria-sort") === first ? second : first;
  const sign = order === "ascending" ? 1 : -1;
  const rows = [...table.tBodies[0].rows].sort((one, other) => {
    const [a, b] = [one, other].map((row) => row.cells[column].dataset.value);
    return sign * (isNumber ? Number(a) - Number(b) : a.localeCompare(b, document.documentElement.lang, { numeric: true }));
  });
  table.tBodies[0].append(...rows);
  headings.forEach((heading) => heading.removeAttribute("aria-sort"));
  headings[column].setAttribute("aria-sort", order);
}

document.querySelectorAll("table.sortable").forEach(makeSortable);

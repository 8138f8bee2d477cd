/**
 * What a page gains where scripts run; without them everything works all the same.
 * Tables sort by a press on a heading: the largest figure, or the first name, comes first; a second press turns the order round.
 * Folds that are pages of their own are filled when they are opened, and asked again while an answer is being computed.
 */

const AGAIN_MS = 1500; // between two looks at what is being computed; chosen by us

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

/**
 * Another page of ours. The policy lets no text become markup; a browser that fetches a document makes one by itself, and runs
 * none of its scripts.
 * @param {string} address
 * @returns {Promise<Document>}
 */
function pageAt(address) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("GET", address);
    request.responseType = "document";
    request.onload = () => (request.response && request.status === 200 ? resolve(request.response) : reject(new Error(address)));
    request.onerror = () => reject(new Error(address));
    request.send();
  });
}

/**
 * Put what another page has under an element's id into it.
 * @param {HTMLElement} element
 * @param {string} address
 */
async function fill(element, address) {
  element.dataset.from = address;
  element.setAttribute("aria-busy", "true");
  try {
    const found = (await pageAt(address)).getElementById(element.id);
    if (element.dataset.from !== address) return; // something else was asked for meanwhile
    element.replaceChildren(...document.adoptNode(found).childNodes);
    element.querySelectorAll("table.sortable").forEach(makeSortable);
    askAgainLater(element, address);
  } catch {
    sayItFailed(element, address);
  }
  element.removeAttribute("aria-busy");
}

/** @param {HTMLElement} element @param {string} address */
function askAgainLater(element, address) {
  if (element.querySelector("[data-waiting]")) {
    setTimeout(() => element.dataset.from === address && fill(element, address), AGAIN_MS);
  }
}

/** @param {HTMLElement} element @param {string} address */
function sayItFailed(element, address) {
  const link = document.createElement("a");
  link.href = address;
  link.textContent = element.dataset.failed ?? address;
  const told = document.createElement("p");
  told.className = "warn";
  told.append(link);
  element.replaceChildren(told);
}

/** @param {HTMLDetailsElement} fold */
function makeFilled(fold) {
  const element = /** @type {HTMLElement} */ (fold.querySelector("div.part"));
  const address = /** @type {HTMLAnchorElement} */ (element.querySelector("a.own-page")).href;
  const open = () => fold.open && !element.dataset.from && fill(element, address);
  fold.addEventListener("toggle", open);
  open();
  element.addEventListener("submit", (event) => {
    const form = /** @type {HTMLFormElement} */ (event.target);
    event.preventDefault();
    fill(element, `${form.action}?${new URLSearchParams(/** @type {any} */ (new FormData(form)))}`);
  });
}

document.querySelectorAll("table.sortable").forEach(makeSortable);
document.querySelectorAll("details.part").forEach(makeFilled);
document.querySelectorAll("#opening, main > div.part").forEach((element) => {
  element.dataset.from = location.href;
  askAgainLater(element, location.href);
});

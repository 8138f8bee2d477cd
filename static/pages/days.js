/**
 * The list of a boat day turns while the crew watches. Every few seconds the page asks whether anything has come in, and only then
 * fetches itself anew and puts the fresh list in the place of the old one; folds that were open stay open, and what has the focus
 * keeps it. Without scripts the page is as true as when it was loaded.
 */

const EVERY_MS = 3000; // chosen by us: soon enough for whoever stands beside the laptop, and a thousandth of what it could answer

const told = document.getElementById("watching");

/** @param {boolean} isLost */
function tell(isLost) {
  told.textContent = isLost ? told.dataset.lost : told.dataset.watches;
  told.classList.toggle("warn", isLost);
  told.hidden = false;
}

/** @param {string} address @param {XMLHttpRequestResponseType} type */
function ask(address, type) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("GET", address);
    request.responseType = type;
    request.timeout = 10 * EVERY_MS;
    request.onload = () => (request.status === 200 ? resolve(request.response) : reject(new Error(address)));
    request.onerror = request.ontimeout = () => reject(new Error(address));
    request.send();
  });
}

/** What a fold is known by when the page is drawn anew. */
const nameOf = (fold) => fold.querySelector("summary")?.textContent.replace(/\s+/g, " ").trim().slice(0, 40);

async function drawAnew() {
  const old = document.getElementById("watched");
  const fresh = (await ask(location.href, "document")).getElementById("watched");
  if (!fresh) throw new Error("no list");
  const open = new Set([...old.querySelectorAll("details[open]")].map(nameOf));
  fresh.querySelectorAll("details").forEach((fold) => (fold.open = open.has(nameOf(fold))));
  old.replaceWith(document.adoptNode(fresh));
}

async function look() {
  try {
    const watched = document.getElementById("watched");
    const moment = await ask(watched.dataset.asks, "text");
    // Whoever is inside the list with the keyboard is not thrown out of it: it turns once they have left.
    if (moment !== watched.dataset.moment && !watched.contains(document.activeElement)) await drawAnew();
    tell(false);
  } catch {
    tell(true);
  }
  setTimeout(look, EVERY_MS);
}

setTimeout(look, EVERY_MS);

/**
 * Matters by keyboard: a lead settles an evening's list without reaching for the mouse. Everything works without it, too.
 * Keys are those of the card in hand: 1 to 9 press its answers, J and K move on and back,
 * A ticks that those alike are meant, too, U takes the last answer back. While something is typed, keys are letters.
 */

const cards = [...document.querySelectorAll("article.card[id^='m-']")];

/** The one in hand: where the focus is, else the one that the address names, else the first. */
function inHand() {
  const focused = cards.find((card) => card.contains(document.activeElement));
  return focused ?? cards.find((card) => `#${card.id}` === location.hash) ?? cards[0];
}

/** @param {HTMLElement | undefined} card @returns {boolean} whether there is one */
function take(card) {
  if (!card) return false;
  cards.forEach((other) => other.classList.toggle("in-hand", other === card));
  card.focus({ preventScroll: true });
  card.scrollIntoView({ block: "nearest" });
  return true;
}

/** To the page of the list after or before this one. @param {"next" | "prev"} where */
function turn(where) {
  document.querySelector(`.turning a[rel=${where}]`)?.click();
}

/** @param {HTMLElement} card */
const answers = (card) => [...card.querySelectorAll(".presses button, .presses a")];

/** @param {KeyboardEvent} event */
function isTyping(event) {
  return event.target instanceof Element && event.target.matches("input:not([type=checkbox]), select, textarea");
}

/** What each key does with the card in hand. */
const KEYS = {
  j: (card) => take(cards[cards.indexOf(card) + 1]) || turn("next"),
  k: (card) => take(cards[cards.indexOf(card) - 1]) || turn("prev"),
  a: (card) => card?.querySelector(".alike input")?.click(),
  u: () => document.querySelector("#done button")?.click(),
};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || isTyping(event)) return;
  const card = inHand();
  const key = event.key.toLowerCase();
  if (Object.hasOwn(KEYS, key)) KEYS[key](card);
  else if (card && /^[1-9]$/.test(key)) answers(card)[Number(key) - 1]?.click();
  else return;
  event.preventDefault();
});

cards.forEach((card) => {
  answers(card).slice(0, 9).forEach((button, place) => {
    const key = document.createElement("kbd");
    key.textContent = String(place + 1);
    key.setAttribute("aria-hidden", "true");
    button.prepend(key);
    button.setAttribute("aria-keyshortcuts", key.textContent);
  });
});
document.querySelectorAll(".keys").forEach((told) => (told.hidden = false));
document.addEventListener("focusin", () => cards.forEach((card) => card.classList.toggle("in-hand", card.contains(document.activeElement))));

/** Days as people write them: `12 Nov 2026`. A day is ISO 8601 without a zone; nothing here asks the clock. */

const DAY_MS = 86_400_000;

/** A day in words, "12 Nov 2026", "12 nov 2026". */
export function dayInWords(day, language) {
  const parts = new Intl.DateTimeFormat(language, { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" });
  const named = Object.fromEntries(parts.formatToParts(midnight(day)).map((part) => [part.type, part.value]));
  return `${named.day} ${named.month.replace(".", "")} ${named.year}`;
}

/** The civil day of a moment, where this device is. */
export function dayOf(moment) {
  const two = (part) => String(part).padStart(2, "0");
  return `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())}`;
}

/** Whole days from one day to another. */
export function daysBetween(from, to) {
  return Math.round((midnight(to) - midnight(from)) / DAY_MS);
}

function midnight(day) {
  return new Date(`${day}T00:00:00Z`);
}

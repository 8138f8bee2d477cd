/** Numbers as people type them: texts in entries, read the same way here and on the base (fieldkit/protocol/number.py). */

// A comma is a decimal mark too: crews write "12,5". Blanks between thousands and exponents are not guessed at.
const NUMBER = /^\s*([+-]?)(?=[.,]?[0-9])0*([0-9]{0,15})(?:[.,]([0-9]{1,15}))?\s*$/;

/**
 * A number in its one form, "12.5": blanks, plus and leading zeros gone, decimal point; the decimals as typed.
 * @param {unknown} text
 * @returns {string | null} null where the value is no text, or the text no number
 */
export function written(text) {
  const found = typeof text === "string" ? NUMBER.exec(text) : null;
  if (!found) return null;
  const [, sign, whole, decimals] = found;
  const plain = (whole || "0") + (decimals === undefined ? "" : `.${decimals}`);
  return sign === "-" && Number(plain) !== 0 ? `-${plain}` : plain;
}

/**
 * The number that a text is.
 * @param {unknown} text
 * @returns {number | null}
 */
export function number(text) {
  const plain = written(text);
  return plain === null ? null : Number(plain);
}

/**
 * One press of the + or - key: up or down by a step, to the next multiple of it, within the limits.
 * @param {string | undefined} text what is there; absent, the first press gives `first`
 * @param {{step: string, min?: string, max?: string, first: string}} by
 * @param {1 | -1} way
 * @returns {string}
 */
export function stepped(text, { step, min, max, first }, way) {
  const now = number(text);
  if (now === null) return first;
  const places = Math.max(...[step, written(text) ?? ""].map((one) => (one.split(".")[1] ?? "").length));
  const size = Number(step);
  // In steps, with a little slack for binary fractions: 0.3 / 0.1 is 2.9999999999999996.
  const many = now / size;
  const next = (way > 0 ? Math.floor(many + 1e-9) + 1 : Math.ceil(many - 1e-9) - 1) * size;
  const held = Math.min(Math.max(next, number(min) ?? -Infinity), number(max) ?? Infinity);
  return held.toFixed(places).replace(/\.0+$/, "");
}

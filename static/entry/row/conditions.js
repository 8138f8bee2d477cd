/**
 * Where a field applies. Conditions are plain data, and the base comes to the same answer (fieldkit/protocol/conditions.py):
 * tests/cases/protocol/conditions.json holds the cases that both must give.
 */
import { number } from "./number.js";

/**
 * Whether a field is to be recorded in a row with these values: every name in `only_where` holds one of the values beside it.
 * @param {{only_where?: Record<string, string[]>}} field
 * @param {Record<string, unknown>} values
 */
export function applies(field, values) {
  return Object.entries(field.only_where ?? {}).every(([name, wanted]) => holds(own(values, name), wanted));
}

function holds(value, wanted) {
  if (typeof value === "string") return wanted.includes(value);
  if (Array.isArray(value)) return value.some((one) => wanted.includes(one));
  if (value !== null && typeof value === "object") return wanted.some((one) => (number(own(value, one)) ?? 0) > 0);
  return false;
}

function own(object, name) {
  return Object.hasOwn(object, name) ? object[name] : undefined;
}

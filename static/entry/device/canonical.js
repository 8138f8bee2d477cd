/**
 * The one way to write a value as text, so that its SHA-256 is the same on every machine: docs/entries.md, fieldkit/ledger/canonical.py.
 * RFC 8785 over a narrowed JSON. Keys are ASCII, so sorting by UTF-16 code units, which is what `sort` does, is sorting by code points.
 */
import { DeviceError } from "./errors.js";

const MAX_DEPTH = 8;
const KEY = /^[a-z][a-z0-9_]*$/;
// A lone surrogate: half a letter, of which there are no bytes in UTF-8.
const HALF_A_LETTER = /[\uD800-\uDBFF](?![\uDC00-\uDFFF])|(?<![\uD800-\uDBFF])[\uDC00-\uDFFF]/;

/**
 * @param {unknown} value objects, arrays, texts, whole numbers within 2^53 - 1, true, false, null
 * @returns {string}
 * @throws {DeviceError} `not_sendable`, with the first place that is outside the profile
 */
export function canonical(value) {
  return textOf(value, "", 0);
}

function textOf(value, place, depth) {
  if (value === null || value === true || value === false) return String(value);
  if (typeof value === "string") return text(value, place);
  if (typeof value === "number") return whole(value, place);
  if (depth === MAX_DEPTH) refuse(place, "too deep");
  if (Array.isArray(value)) return `[${value.map((inner, i) => textOf(inner, `${place}[${i}]`, depth + 1)).join(",")}]`;
  if (typeof value !== "object" || ![Object.prototype, null].includes(Object.getPrototypeOf(value))) refuse(place, typeof value);
  const pairs = Object.keys(value).sort().map((key) => {
    if (!KEY.test(key)) refuse(`${place}.${key}`, "key");
    return `"${key}":${textOf(value[key], `${place}.${key}`, depth + 1)}`;
  });
  return `{${pairs.join(",")}}`;
}

function text(value, place) {
  if (HALF_A_LETTER.test(value)) refuse(place, "half a letter");
  return JSON.stringify(value);
}

function whole(value, place) {
  if (!Number.isSafeInteger(value)) refuse(place, String(value));
  return String(value); // also of -0: "0"
}

function refuse(place, why) {
  throw new DeviceError("not_sendable", { place: place.replace(/^\./, ""), why });
}

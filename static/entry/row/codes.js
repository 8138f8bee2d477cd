/**
 * A row typed as it was written on the slate: "A S 95 P SN2" and `Enter`. Each piece belongs to the next field that knows it,
 * from left to right as the fields stand in the protocol; `bl:P` says which field is meant, `15cm` and `95%` say it by their
 * unit. `.` alone is "alive, nothing wrong seen", `.` after others "nothing else wrong seen", `/` not searched; what follows a
 * quotation mark is the note.
 */
import { COUNTED, allWell, faultOf, fieldsOf, isNotSearched, mayBeAllWell, notSearched, offered, put } from "./row.js";
import { number, written } from "./number.js";

const ALL_WELL = ".";
const NOT_SEARCHED = "/";
const TYPED_UNITS = { Cel: "c" };

/**
 * @returns {{values: object, read: {text: string, field: object, also: object[]}[], unknown: string[]}} `values` the row with
 *   what was understood; `also` the later fields that a piece might have meant as well
 */
export function typed(text, protocol, of, values) {
  const [line, ...notes] = text.split('"');
  const note = notes.join('"').trim();
  const pieces = line.trim().split(/\s+/).filter(Boolean);
  let row = note ? { ...values, note } : values;
  let from = 0;
  const read = [];
  const unknown = [];
  for (const piece of pieces) {
    if (piece === ALL_WELL && of === "coral" && (mayBeAllWell(protocol, row) || read.length)) row = allWell(protocol, row);
    else if (piece === NOT_SEARCHED && of === "coral" && pieces.length === 1) row = notSearched(row);
    else {
      const fields = fieldsOf(protocol, of);
      const open = isNotSearched(row) ? fields : offered(protocol, of, row);
      const known = meant(piece, fields, open, from);
      if (known.length === 0) unknown.push(piece);
      else {
        const [{ field, value }] = known;
        row = put(protocol, of, row, field.name, value);
        from = fields.indexOf(field) + 1;
        read.push({ text: piece, field, also: known.slice(1).map((one) => one.field) });
      }
    }
  }
  return { values: row, read, unknown };
}

/** The fields that know a piece, and what it says in each: the named one, those of its unit, else all from a place on. */
function meant(piece, fields, open, from) {
  const named = /^([^:]+):(.+)$/.exec(piece);
  const among = named ? open.filter((field) => isCalled(field, named[1])).slice(0, 1) : open.filter((field) => fields.indexOf(field) >= from);
  const found = among.map((field) => ({ field, value: valueIn(field, named ? named[2] : piece) }));
  return found.filter(({ value }) => value !== undefined);
}

function isCalled(field, start) {
  const sought = start.toLowerCase();
  return [field.name, ...Object.values(field.label)].some((name) => name.toLowerCase().startsWith(sought));
}

/** The shortest beginning of a field's name, of two letters or more, that means it and no field before it. */
export function shortName(field, protocol) {
  const rivals = fieldsOf(protocol, field.of);
  const lengths = Array.from(field.name, (_, place) => place + 1).slice(1);
  const length = lengths.find((one) => rivals.find((rival) => isCalled(rival, field.name.slice(0, one))) === field);
  return field.name.slice(0, length);
}

/** What a piece says in a field, or undefined where the field does not know it. */
export function valueIn(field, piece) {
  if (field.kind === "choice") return choice(field, piece);
  if (field.kind === "choices") return choices(field, piece);
  if (field.kind === "tally") return tallyOf(field, piece);
  if (field.kind === "flag") return { y: "yes", s: "yes", yes: "yes", sí: "yes", n: "no", no: "no" }[piece.toLowerCase()];
  if (field.kind === "text") return undefined;
  return measure(field, piece);
}

function choice(field, code) {
  return field.values.find((one) => one.code.toLowerCase() === code.toLowerCase())?.value;
}

function choices(field, piece) {
  const found = piece.split(/[,+]/).map((one) => choice(field, one));
  if (found.some((one) => one === undefined) || (found.length > 1 && found.includes("none"))) return undefined;
  return field.values.map((one) => one.value).filter((one) => found.includes(one));
}

function tallyOf(field, piece) {
  const counts = piece.split(/[,+]/).map((one) => /^(.*?[^0-9])([0-9]{1,6})$/.exec(one) ?? [one, one, "1"]);
  if (piece === "0") return Object.fromEntries(field.values.map((one) => [one.value, "0"]));
  const found = counts.map(([, code, many]) => [choice(field, code), written(many)]);
  return found.some(([value]) => value === undefined) ? undefined : Object.fromEntries(found);
}

function measure(field, piece) {
  const unit = field.kind === "percent" ? "%" : (TYPED_UNITS[field.unit] ?? field.unit ?? "");
  const plain = unit && unit !== "1" && piece.toLowerCase().endsWith(unit.toLowerCase()) ? piece.slice(0, -unit.length) : piece;
  return number(plain) === null || faultOf(field, plain) ? undefined : written(plain);
}

/** A counted row: "8 1 1" is alive, dead, missing; what follows belongs to the protocol's fields of counts. */
export function typedCounts(text, protocol, values) {
  const pieces = text.split('"')[0].trim().split(/\s+/).filter(Boolean);
  const counts = pieces.slice(0, COUNTED.length).map(written);
  const good = counts.filter((one) => one !== null && /^[0-9]+$/.test(one));
  const said = Object.fromEntries(good.map((one, place) => [COUNTED[place], one]));
  const rest = typed(pieces.slice(good.length).join(" "), protocol, "count", { ...values, ...said });
  const note = text.split('"').slice(1).join('"').trim();
  return { ...rest, values: note ? { ...rest.values, note } : rest.values };
}

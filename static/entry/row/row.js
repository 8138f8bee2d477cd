/**
 * One row of the slate as its protocol has it: what is asked, what a key changes, what is wrong. Values go in, new values come
 * out; nothing is kept here. What is absent was not looked at.
 *
 * A row is of a "coral", of a "count" (a genotype in a counted plot) or of the "head" of the session.
 */
import { applies } from "./conditions.js";
import { number, written } from "./number.js";

/** What a row says beside the protocol's fields (docs/entries.md): where it hangs, and what may be said of any row. */
const BESIDE = ["plot", "coral", "tag", "position", "genotype", "lot", "line", "part", "parts", "count", "note"];
export const COUNTED = ["alive", "dead", "missing"];
const KINDS = ["choice", "choices", "tally", "percent", "number", "text", "flag"];

/** The protocol's fields of one kind of row, in the order in which a diver looks; without those that only a newer page can ask for. */
export function fieldsOf(protocol, of) {
  return protocol.fields.filter((field) => field.of === of && KINDS.includes(field.kind));
}

/** The field that says alive, dead or missing; an outplanting protocol has none. */
export function statusOf(protocol) {
  return withRole(protocol, "status");
}

export function withRole(protocol, role) {
  return protocol.fields.find((field) => field.role === role);
}

export function isSaid(values, name) {
  const value = values[name];
  if (value === undefined || value === null || value === "") return false;
  return typeof value !== "object" || Object.keys(value).length > 0;
}

/** Values without some of them. */
export function omit(values, ...names) {
  return Object.fromEntries(Object.entries(values).filter(([name]) => !names.includes(name)));
}

export function isNotSearched(values) {
  return values.searched === "no";
}

/** Whether a row says anything at all of its coral. */
export function isRead(values) {
  return Object.keys(values).some((name) => name === "note" || !BESIDE.includes(name));
}

/**
 * The fields to offer: those that apply to what is said, the rest taken for what "nothing wrong" would record. So a row not
 * read yet offers what a living coral may show, and what is left of a missing one only once it is missing.
 */
export function offered(protocol, of, values) {
  if (isNotSearched(values)) return [];
  const supposed = of === "coral" ? { ...protocol.all_well, ...saidOf(values) } : values;
  return fieldsOf(protocol, of).filter((field) => applies(field, supposed));
}

/** New values with one more said, or with `undefined` taken back: what hangs on it comes and goes with it. */
export function put(protocol, of, values, name, value) {
  const said = { ...values };
  delete said.searched;
  if (value === undefined || !isSaid({ value }, "value")) delete said[name];
  else said[name] = value;
  const field = protocol.fields.find((one) => one.of === of && one.name === name);
  return withoutIdle(protocol, of, value === undefined ? said : { ...implied(field, said), ...said });
}

/** What a value says by being there at all: bleaching is seen on living corals alone, so a pale coral is alive. */
function implied(field, values) {
  const alone = Object.entries(field?.only_where ?? {}).filter(([name, wanted]) => wanted.length === 1 && !isSaid(values, name));
  return Object.fromEntries(alone.map(([name, [wanted]]) => [name, wanted]));
}

/** Without the fields that do not apply. One that goes takes along those that hang on it further down. */
function withoutIdle(protocol, of, values) {
  const kept = { ...values };
  for (const field of fieldsOf(protocol, of)) if (field.name in kept && !applies(field, kept)) delete kept[field.name];
  return kept;
}

/** Not reached: nothing else is asked of the row, but a note may stay. */
export function notSearched(values) {
  const beside = Object.entries(values).filter(([name]) => BESIDE.includes(name));
  return { ...Object.fromEntries(beside), searched: "no" };
}

/** Whether one tap may still say that nothing (else) is wrong. */
export function mayBeAllWell(protocol, values) {
  const status = statusOf(protocol)?.name;
  const well = protocol.all_well ?? {};
  if (!status || isNotSearched(values) || (isSaid(values, status) && values[status] !== well[status])) return false;
  return Object.keys(well).some((name) => !isSaid(values, name));
}

/** Alive, and nothing wrong seen but what is said already. Nothing that was said changes. */
export function allWell(protocol, values) {
  return withoutIdle(protocol, "coral", { ...protocol.all_well, ...saidOf(values) });
}

function saidOf(values) {
  return Object.fromEntries(Object.entries(values).filter(([name]) => isSaid(values, name)));
}

/**
 * What is wrong with a value, as a key of the catalogue and its data, or null.
 * @returns {{key: string, data: Record<string, string>} | null}
 */
export function faultOf(field, value) {
  if (field.kind !== "number" && field.kind !== "percent") return null;
  const found = number(value);
  if (found === null) return { key: "entry.fault_no_number", data: {} };
  const [min, max] = limits(field);
  const beyond = (min !== undefined && found < number(min)) || (max !== undefined && found > number(max));
  if (!beyond) return null;
  if (max === undefined) return { key: "entry.fault_below", data: { min } };
  return min === undefined ? { key: "entry.fault_above", data: { max } } : { key: "entry.fault_outside", data: { min, max } };
}

export function limits(field) {
  return field.kind === "percent" ? [field.min ?? "0", field.max ?? "100"] : [field.min, field.max];
}

/** What a press of + or - adds where the protocol leaves it to the page, and where the first press starts. */
export function stepOf(field, last) {
  const [min, max] = limits(field);
  const step = field.step ?? (field.kind === "percent" ? "5" : "1");
  const first = last ?? (field.kind === "percent" ? max : field.unit === "1" ? (min ?? "0") : (min ?? step));
  return { step, min, max, first: written(first) };
}

/** The fields that must not be left out and are. */
export function lacking(protocol, of, values) {
  if (isNotSearched(values)) return [];
  return fieldsOf(protocol, of).filter((field) => field.required && !isSaid(values, field.name) && applies(field, values));
}

/**
 * What is odd about a row and yet let pass: keys of the catalogue. Shares of one surface add up to at most 100 (McField &
 * Kramer 2007, Healthy Reefs for Healthy People); a living coral has some live tissue; a tag that was not read in full may
 * be another's.
 */
export function doubts(protocol, values, counted) {
  const of = (role) => number(values[withRole(protocol, role)?.name]);
  const shares = ["live_tissue", "recent_mortality", "old_mortality"].map(of);
  const tag = values[withRole(protocol, "tag_state")?.name];
  const counts = COUNTED.map((name) => number(values[name]));
  const sum = counts.reduce((all, one) => all + (one ?? 0), 0);
  const found = [];
  if (shares.reduce((all, one) => all + (one ?? 0), 0) > 100) found.push("entry.doubt_shares");
  if (shares[0] === 0) found.push("entry.doubt_no_live_tissue");
  if (tag && tag !== "read" && tag !== "replaced") found.push("entry.doubt_tag");
  if (values.tag && /[^A-Za-z0-9-]/.test(values.tag)) found.push("entry.doubt_reading");
  if (counted?.planted && counts.some((one) => one !== null) && sum > Number(counted.planted)) found.push("entry.doubt_more_than_planted");
  if (counted?.planted && counts.every((one) => one !== null) && sum < Number(counted.planted)) found.push("entry.doubt_fewer_than_planted");
  return found;
}

/**
 * The lines of a slate: the corals of its plots in slate order, as the register has them, and the rows that were entered.
 * Pure: lists go in, lists and counts come out.
 */
import { doubts, isNotSearched, isRead, lacking } from "./row/row.js";

/**
 * Lay what was entered over what the register expects.
 *
 * @param {object[]} plots of the register snapshot, in the order of the session
 * @param {{row: string, kind: string, values: object, order: number}[]} rows as the device keeps them
 * @returns {object[]} lines: {key, plot, number, of, kind, coral?, tag?, position?, genotype?, planted?, expected, stored}
 */
export function linesOf(plots, rows, { plants = false } = {}) {
  const left = new Set(rows.filter((row) => row.kind !== "action"));
  return plots.flatMap((plot) => {
    const expected = plants ? [] : expectedOf(plot).map((line) => ({ ...line, stored: taken(left, (row) => isOf(line, row.values)) }));
    const others = [...left].filter((row) => row.values.plot === plot.plot).sort((a, b) => a.order - b.order);
    others.forEach((row) => left.delete(row));
    return [...expected, ...others.map((row) => unlisted(plot, row))].map((line, place) => ({ ...line, number: place + 1 }));
  });
}

function expectedOf(plot) {
  const line = { plot: plot.plot, expected: true, kind: "observation" };
  if (plot.recorded_as === "counted") {
    return (plot.groups ?? []).map((group) => ({ ...line, ...group, of: "count", key: keyOf({ plot: plot.plot, ...group }) }));
  }
  return (plot.corals ?? []).map((coral) => ({ ...line, ...coral, of: "coral", key: keyOf(coral) }));
}

/** What tells expected lines apart: the coral, or the genotype of a counted plot. */
export function keyOf({ plot, coral, genotype }) {
  return coral ?? `${plot} ${genotype}`;
}

/** A line for a coral that the register does not expect here: the row itself is all that is known. */
export function unlisted(plot, row) {
  const { tag, position, genotype, count: planted } = row.values;
  return { plot: plot.plot, key: row.row, of: "coral", kind: row.kind, tag, position, genotype, planted, expected: false, stored: row };
}

function isOf(line, values) {
  if (values.plot !== line.plot) return false;
  return line.of === "count" ? values.genotype === line.genotype : values.coral === line.coral;
}

function taken(left, fits) {
  const found = [...left].find(fits);
  left.delete(found);
  return found ?? null;
}

/** What a row says of where it hangs: the coral where it was picked from the list, the tag as noted where not. */
export function identity(line) {
  const place = { plot: line.plot, line: String(line.number) };
  if (line.of === "count") return { ...place, genotype: line.genotype };
  if (line.coral) return { ...place, coral: line.coral };
  const noted = { tag: line.tag, position: line.position, genotype: line.genotype };
  return { ...place, ...Object.fromEntries(Object.entries(noted).filter(([, value]) => value)) };
}

/** @returns {"unread" | "not_searched" | "incomplete" | "doubtful" | "read"} how far a line is, by what is entered of it */
export function stateOf(line, values, protocol) {
  if (!values || !isRead(values)) return "unread";
  if (isNotSearched(values)) return "not_searched";
  if (lacking(protocol, line.of, values).length) return "incomplete";
  return doubts(protocol, values, line).length ? "doubtful" : "read";
}

/** How many lines are in each state; `entered` are all that are no longer unread. */
export function tally(states) {
  const counts = { unread: 0, not_searched: 0, incomplete: 0, doubtful: 0, read: 0 };
  for (const state of states) counts[state] += 1;
  return { ...counts, all: states.length, entered: states.length - counts.unread };
}

/** The next line in need of a look after a place, going round once; -1 where there is none. */
export function nextUnread(states, from) {
  const around = states.map((_, step) => (from + 1 + step) % states.length);
  return around.find((place) => states[place] === "unread") ?? -1;
}

// Signs that divers take for one another on a slate or an overgrown tag: common practice, no source.
const ALIKE = { O: "0", D: "0", Q: "0", I: "1", L: "1", "|": "1", Z: "2", S: "5", G: "6", B: "8", A: "4" };

function lookalike(tag) {
  return [...tag.toUpperCase().replace(/[^A-Z0-9?.]/g, "")].map((sign) => ALIKE[sign] ?? sign).join("");
}

/**
 * The places of lines that a sought text may mean, best first: the tag itself, tags with it in them, the row of that number,
 * tags that look alike. `?` and `.` stand for a sign that could not be read.
 */
export function found(lines, text) {
  const sought = text.trim().toUpperCase();
  if (!sought) return [];
  const pattern = new RegExp(lookalike(sought).replace(/[?.]+/g, (gap) => `.{1,${gap.length}}`));
  const rank = (line) => {
    const tag = (line.tag ?? line.position ?? "").toUpperCase();
    if (tag === sought) return 0;
    if (String(line.number) === sought) return 1;
    if (tag.includes(sought)) return 2;
    return pattern.test(lookalike(tag)) && tag ? 3 : 9;
  };
  const ranked = lines.map((line, place) => ({ place, rank: rank(line) })).filter((one) => one.rank < 9);
  return ranked.sort((a, b) => a.rank - b.rank || a.place - b.place).map((one) => one.place);
}

/**
 * Blind repeats: the corals of a plot that a second recorder takes again, unknown to the first. Every device draws the same ones,
 * from plot, day and corals alone (docs/agreement.md), so that nobody has to tell another. Pure.
 */
import { number } from "./row/number.js";

/**
 * The same number for the same text on every device, spread evenly over 32 bits: FNV-1a (Fowler, Noll & Vo; RFC 9923), then the
 * finalizer of MurmurHash3 (Appleby, public domain), without which corals whose ids follow each other would be drawn together.
 */
export function spread(text) {
  let hash = 0x811c9dc5;
  for (const byte of new TextEncoder().encode(text)) hash = Math.imul(hash ^ byte, 0x01000193);
  hash = Math.imul(hash ^ (hash >>> 16), 0x85ebca6b);
  hash = Math.imul(hash ^ (hash >>> 13), 0xc2b2ae35);
  return (hash ^ (hash >>> 16)) >>> 0;
}

/**
 * @param {string} plot
 * @param {string} day
 * @param {string[]} corals ids of all that stand on the slate of the plot, in any order
 * @param {string} percent of them; at least one is drawn
 * @returns {string[]} the ids that are drawn
 */
export function drawn(plot, day, corals, percent) {
  const place = new Map(corals.map((coral) => [coral, spread(`${plot} ${day} ${coral}`)]));
  const order = [...corals].sort((one, other) => place.get(one) - place.get(other) || (one < other ? -1 : 1));
  return order.slice(0, Math.max(1, Math.round((corals.length * number(percent)) / 100)));
}

/** How many corals a second look at these plots of the register takes again; in counted plots none. */
export function howMany(plots, day, percent) {
  return plots.flatMap(({ plot, corals = [] }) => drawn(plot, day, corals.map(({ coral }) => coral), percent)).length;
}

/** Whether two heads are of one dive day at one plot, by two recorders, and neither is practice or a second look itself. */
export function isSecondAt(head, other) {
  const counts = !head.practice && !other.practice && !other.repeat;
  return counts && head.day === other.day && head.recorder !== other.recorder && (other.plots ?? []).some((plot) => head.plots?.includes(plot));
}

/**
 * The lines of a second look: those that are drawn, marked `again`; what is entered already; and, where this device knows what the
 * first recorder read, what that was not.
 * @param {object[]} lines of the whole slate
 * @param {Set<string> | null} read keys of lines that the first recorder read; null where that is not known here
 */
export function secondLook(lines, day, percent, read) {
  const again = new Set(
    [...new Set(lines.map((line) => line.plot))].flatMap((plot) => {
      const corals = lines.filter((line) => line.plot === plot && line.expected && line.coral).map((line) => line.coral);
      return drawn(plot, day, corals, percent);
    }),
  );
  const isLeft = (line) => read !== null && !read.has(line.key);
  return lines
    .map((line) => ({ ...line, again: again.has(line.coral) && !isLeft(line) }))
    .filter((line) => line.again || line.stored || isLeft(line));
}

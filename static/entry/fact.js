/**
 * After the last row: one thing about one coral that is true and good to hear, from what was just entered and what the register
 * knows. Pure.
 */
import { daysBetween } from "./days.js";
import { number } from "./row/number.js";
import { statusOf, withRole } from "./row/row.js";

/**
 * @param {{line: object, values: object}[]} entered the rows of this session
 * @returns {{key: string, line: object, data: object} | null} null where no coral of a known planting day was seen alive
 */
export function pleasingFact(entered, protocol, day) {
  const status = statusOf(protocol)?.name;
  const alive = entered.filter(({ line, values }) => line.coral && values[status] === "alive");
  const back = alive.find(({ line }) => line.last?.status === "missing");
  if (back) return factOf("entry.fact_back", back, day);
  return grown(alive, protocol, day) ?? oldest(alive, day);
}

/** The coral that grew most since it was last measured: only where both sizes were read, and it did grow. */
function grown(alive, protocol, day) {
  const size = withRole(protocol, "size");
  const gain = ({ line, values }) => (number(values[size?.name]) ?? NaN) - (number(line.last?.values?.[size?.name]) ?? NaN);
  const best = most(alive.filter((one) => gain(one) > 0), gain);
  if (!best) return null;
  const cm = String(Math.round(gain(best) * 10) / 10);
  const fact = factOf("entry.fact_grown", best, day);
  return { ...fact, data: { ...fact.data, gain: cm, unit: size.unit, since: best.line.last.day } };
}

function oldest(alive, day) {
  const age = ({ line }) => daysBetween(line.planted_on, day);
  const best = most(alive.filter(({ line }) => line.planted_on && line.planted_on < day), age);
  return best ? factOf("entry.fact_oldest", best, day) : null;
}

function factOf(key, { line }, day) {
  const n = line.planted_on ? daysBetween(line.planted_on, day) : null;
  return { key, line, data: { coral: line.tag ?? line.position ?? "", n } };
}

/** The one with the highest figure; of equals one that has photos, since it will be shown. */
function most(all, figure) {
  const order = (a, b) => figure(b) - figure(a) || Number(Boolean(b.line.photos)) - Number(Boolean(a.line.photos));
  return [...all].sort(order)[0];
}

/**
 * What common practice has to say to a planting: advice, never a wall. What a device cannot know, permits, the base says
 * (fieldkit/register/practice.py, which has the sources); tests/cases/register/practice.json holds the cases for both.
 */
import { number } from "./number.js";

const POINTS = 3;
const CORALS_A_M2 = 10 / 0.6;
const ABOUT = 1.2;
const MOVES = /rubble|sand|gravel/i;

/**
 * @param {{tagged: {tag: string, genotype: string}[], n?: number, values: object, plot: object, standing: number, lot?: object,
 *   worn: Record<string, string[]>}} plan `n`: how many they are, where some are counted and not tagged; `standing`: corals that the
 *   plot holds already; `worn`: by tag, plots of others that wear it
 * @returns {{key: string, data: object}[]}
 */
export function advice({ tagged, n = tagged.length, values, plot, standing, lot, worn }) {
  const found = [];
  const say = (key, data = {}) => found.push({ key: `programme.advice_${key}`, data });
  for (const [tag, plots] of Object.entries(worn)) say("tag_worn", { tag, plots: [...new Set(plots)].sort().join(", ") });
  if (lot && tagged.some(({ genotype }) => genotype !== lot.genotype)) say("other_genotype");
  if (n > lot?.ready) say("more_than_ready", { n, ready: Math.max(lot.ready, 0) });
  const points = number(values.points);
  if (points !== null && points < POINTS && values.method !== "crevice") say("points", { points: String(points), least: POINTS });
  const area = number(plot.area_m2);
  const all = standing + n;
  if (area && all > ABOUT * CORALS_A_M2 * area) {
    const apart = 200 * Math.sqrt(area / Math.PI) * Math.sin(Math.PI / all);
    say("crowded", { n: all, usual: Math.max(1, Math.round(CORALS_A_M2 * area)), apart: Math.round(apart) });
  }
  if (MOVES.test(plot.substrate)) say("substrate", { substrate: plot.substrate });
  return found;
}

/**
 * What the screens share: the device, and what it last said of itself. Signals are renewed when the device tells of a change,
 * in this tab or another; nothing else is kept here.
 */
import { computed, signal } from "@preact/signals";
import { openDevice } from "./device/device.js";
import { isKnown, t } from "./words.js";

export const device = await openDevice();
export const register = signal(null);
export const pairing = signal(null);
export const sessions = signal([]);
export const onlyHere = signal({ rows: 0, rows_on_base: 0, entries: 0, photos: 0, bytes: 0 });
export const means = signal({});
export const trouble = signal(null);
export const progress = signal(null);
/** The base that was last reached: {address, base, time, version}, null where none answered, undefined while not asked. */
export const reached = signal(undefined);
/** What went wrong last, in words, until the next thing that goes right. */
export const problem = signal("");

/** What is only here as people count it: rows; where there is none, what else was noted (a head, what a photo shows). */
export const counted = computed(() => {
  const { rows, entries } = onlyHere.value;
  return rows || !entries ? { n: rows, of: "rows" } : { n: entries, of: "notes" };
});

/** A clock that is this far from the base's proposes no day any more. Chosen: half a day off, it names the wrong one half the time. */
export const DAY_IN_DOUBT_MS = 12 * 60 * 60_000;
export const isDayInDoubt = computed(() => Math.abs(pairing.value?.off_ms) >= DAY_IN_DOUBT_MS);

const AGAIN_MS = 150;
let waiting = null;

/** Ask the device how things stand, and keep up with it. */
export async function follow() {
  device.addEventListener("change", ({ detail }) => hear(detail));
  await renew();
}

function hear({ what }) {
  if (what === "progress") progress.value = device.progress;
  else if (what === "row" || what === "photo" || what === "marks") soon();
  else renew();
}

// Counting what is only here reads all of it, so that a row's key does not wait for it: it is counted when the rows rest.
function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(renew, AGAIN_MS);
}

/** Ask the device for everything anew. */
export async function renew() {
  register.value = device.register;
  pairing.value = device.pairing;
  trouble.value = device.trouble;
  means.value = await device.means();
  if (trouble.value?.what === "no_storage") return; // there is nothing to list, and the first screen says why
  const [listed, here] = await Promise.all([device.sessions(), device.onlyHere()]);
  sessions.value = listed;
  onlyHere.value = here;
}

export function sessionOf(id) {
  return sessions.value.find((one) => one.session === id);
}

/** Do what may fail, and say in words what went wrong. @returns {Promise<boolean>} whether it went right */
export async function attempt(work) {
  try {
    await work();
    problem.value = "";
    return true;
  } catch (error) {
    problem.value = errorInWords(error);
    if (!error.code) console.error(error);
    return false;
  }
}

/** What an error means, in words; of one that nobody foresaw, that it was one. */
export function errorInWords({ code, data, message }) {
  return code && isKnown(`entry.${code}`) ? t(`entry.${code}`, data) : t("entry.unforeseen", { what: code ?? message });
}

/**
 * What a session says that was not said yet, as entries. Until a row leaves the device it is a draft, and changing it is no
 * correction; what changed after it was sealed is said anew in the place of the former entry.
 */
import { canonical } from "./canonical.js";
import { sumOf } from "./digest.js";
import { mint } from "./entry.js";

// A lead's phone says at the slate nothing that a crew may not, and what it hands in there needs no lead's rights.
const ROLE = "crew";

/**
 * @param {object} record of the store `session`
 * @param {object[]} drafts its rows, in slate order
 * @param {object[]} shown its photos
 * @param {string} device the id that this device was paired under
 * @returns {Promise<{entries: object[], record: object, drafts: object[], shown: object[]}>} what to store instead: of drafts and
 *   shown those that changed. `entries` is empty where there is nothing new to say.
 */
export async function seal(record, drafts, shown, device) {
  const log = new Log(record, record.device ?? device);
  const next = { ...record, device: log.device };
  const isEmpty = !record.seq && record.state === "open" && !drafts.length && !shown.length;
  const said = canonical(headValues(record.head));
  if (!isEmpty && said !== record.head_said) {
    next.head_entry = await log.say("session", headValues(record.head), record.head_entry);
    next.head_said = said;
  }
  const rows = await sealAll(log, drafts.filter(isUnsaid), (draft) => draft.kind, rowValues);
  const gone = goneFrom(drafts);
  const photos = await sealAll(log, unsaidPhotos(drafts, shown), () => "photo", photoValues, gone);
  if (mustClose(record, log.entries.length)) {
    next.close_entry = await log.say("close", closing(log, shown, gone), record.close_entry);
  }
  return { entries: log.entries, record: { ...next, seq: log.seq, sum: log.sum }, drafts: rows, shown: photos };
}

/** Whether a session's close is to be said (again). One that goes on in another session is left open: it is not ours to close. */
export function mustClose(record, newEntries) {
  return record.state === "closed" && !record.continued_in && (newEntries > 0 || !record.close_entry);
}

/** Whether a row stands otherwise than it was last sealed. */
export function isUnsaid(draft) {
  return draft.dropped || canonical({ kind: draft.kind, values: draft.values }) !== draft.said;
}

/** The photos that stand otherwise than they were last sealed. Those of a row that is gone, or not yet there, are gone with it. */
export function unsaidPhotos(drafts, shown) {
  const gone = goneFrom(drafts);
  return shown.filter((one) => (gone(one) ? one.entry : canonical(photoValues(one)) !== one.said));
}

export function rowValues({ row, values }) {
  return { ...values, row };
}

/** The head without what is for the page alone. */
export function headValues({ plots: _plots, ...head }) {
  return { ...head, role: ROLE };
}

/** @returns {(shown: object) => boolean} whether a photo is of a row that these drafts do not have */
export function goneFrom(drafts) {
  const rows = new Set(drafts.filter((draft) => !draft.dropped).map((draft) => draft.row));
  return (one) => one.dropped || (one.row !== "" && !rows.has(one.row));
}

function photoValues({ row, photo, view, bytes, type, camera_time, device_time }) {
  return { photo, view, bytes, type, device_time, ...(row && { row }), ...(camera_time && { camera_time }) };
}

function closing(log, shown, gone) {
  return { n: log.seq, sum: log.sum, photos: new Set(shown.filter((one) => !gone(one)).map((one) => one.photo)).size };
}

async function sealAll(log, unsaid, kind, values, isGone = (one) => one.dropped) {
  const changed = [];
  for (const one of unsaid) {
    if (isGone(one)) {
      await log.say("retract", {}, one.entry);
      changed.push({ ...one, dropped: true, entry: null });
    } else {
      const entry = await log.say(kind(one), values(one), one.entry);
      changed.push({ ...one, entry, said: canonical(one.photo ? values(one) : { kind: one.kind, values: one.values }) });
    }
  }
  return changed;
}

/** The entries of a session as they are added to it: places without gaps, and the sum that its close tells. */
class Log {
  entries = [];

  constructor({ session, seq, sum }, device) {
    this.session = session;
    this.device = device;
    this.seq = seq;
    this.sum = sum;
  }

  /** @returns {Promise<string>} the digest of the new entry */
  async say(kind, values, replaced) {
    const { device, session } = this;
    const entry = await mint({ kind, device, session, seq: this.seq + 1, values, replaces: replaced ? [replaced] : [] });
    this.seq += 1;
    this.sum = sumOf([this.sum, entry.digest]);
    this.entries.push(entry);
    return entry.digest;
  }
}

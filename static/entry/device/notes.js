/**
 * What this device keeps. Notes and photos lie in two databases: where a photo does not fit any more, the notes still do.
 *
 * Notes:
 *   keep     by name: pairing, register, writer (the tab that writes), and photos on their way here
 *   session  {session, head, state, started_at, device, seq, sum, head_said, head_entry, close_entry, continued_in}
 *            `device`, `seq` and `sum` are those of its entries so far; `head_said` is the head as last sealed
 *   draft    by [session, row]: {session, row, kind, values, order, undo, at, dropped, said, entry}
 *            a row as it stands now; `entry` and `said` are the digest and the words that it was last sealed with, `undo` what
 *            taking its last change back needs
 *   shown    by [session, photo, row]: which photo shows what {…, view, bytes, type, camera_time, device_time, at, dropped, said, entry}
 *   entry    by digest; [session, seq] is unique, so two writers cannot fork a session unseen
 *   mark     by digest of an entry or a photo: a base said that it holds it. A hint: the base is asked again each time
 *   refused  by digest: {session, why, detail}: what a base would not take, or a photo whose bytes are damaged here
 *   moved    by digest of an entry: {session, to}: what it says was said anew in another session
 * Photos:
 *   bytes, small   by digest: {photo, bytes: ArrayBuffer, type}. Not a Blob: WebKit's private windows refuse those.
 */
import { Database } from "./database.js";

/** @param {string} [suffix] of the names, so that tests can have their own */
export function openNotes(suffix = "") {
  return new Database(`fieldkit notes${suffix}`, [
    (db) => {
      db.createObjectStore("keep");
      db.createObjectStore("session", { keyPath: "session" });
      db.createObjectStore("draft", { keyPath: ["session", "row"] });
      db.createObjectStore("shown", { keyPath: ["session", "photo", "row"] });
      const entries = db.createObjectStore("entry", { keyPath: "digest" });
      entries.createIndex("place", ["session", "seq"], { unique: true });
      for (const name of ["mark", "refused", "moved"]) {
        db.createObjectStore(name, { keyPath: "digest" }).createIndex("session", "session");
      }
    },
  ]);
}

export function openPhotos(suffix = "") {
  return new Database(`fieldkit photos${suffix}`, [
    (db) => {
      db.createObjectStore("bytes", { keyPath: "photo" });
      db.createObjectStore("small", { keyPath: "photo" });
    },
  ]);
}

/** All keys that begin with this session, in stores and indexes whose keys are [session, …]. */
export function ofSession(session) {
  return IDBKeyRange.bound([session], [session, []]);
}

/**
 * The sessions on this device and their rows. Each change is on the disk when its promise resolves; one at a time, so that no
 * row changes while it is being sealed.
 */
import { canonical } from "./canonical.js";
import { sumOf } from "./digest.js";
import { MAX_BYTES } from "./entry.js";
import { DeviceError } from "./errors.js";
import { newId } from "./ids.js";
import { ofSession } from "./notes.js";
import { goneFrom, headValues, isUnsaid, mustClose, rowValues, seal, unsaidPhotos } from "./sealing.js";

const ROOM_FOR_THE_REST = 1024; // of an entry, beside its values: ids, digests, numbers

/** What a session's record holds before anything of it is sealed. */
const UNSEALED = { device: null, seq: 0, sum: sumOf([]), head_said: null, head_entry: null, close_entry: null, continued_in: null };

export class Slates {
  #notes;
  #tab;
  #turn = Promise.resolve();

  constructor(notes, tab) {
    this.#notes = notes;
    this.#tab = tab;
  }

  async start(head) {
    const record = { ...UNSEALED, session: newId(), head, state: "open", started_at: Date.now() };
    checkFits(headValues(head));
    await this.write(["session"], (tx) => tx.objectStore("session").add(record));
    this.#tab.tell({ what: "session", session: record.session });
    return record.session;
  }

  putHead(session, head) {
    checkFits(headValues(head));
    return this.#change(session, { head });
  }

  close(session) {
    return this.#change(session, { state: "closed" });
  }

  reopen(session) {
    return this.#change(session, { state: "open" });
  }

  async rows(session) {
    const drafts = await this.#notes.read(["draft"], (tx) => tx.objectStore("draft").getAll(ofSession(session)));
    return drafts
      .filter((draft) => !draft.dropped)
      .sort(inSlateOrder)
      .map((draft) => {
        const { row, kind, values, order, at, undo } = draft;
        return { row, kind, values, order, at, undo: isUnsaid(draft) ? undo : undefined };
      });
  }

  /** `undo` is what taking the change back needs, kept with it; it is given back as long as the row was not sealed. */
  async putRow(session, { row = newId(), kind, values, order, undo }) {
    checkFits(rowValues({ row, values }));
    await this.write(["session", "draft"], async (tx) => {
      const [record, former] = await Promise.all([theSession(tx, session), tx.objectStore("draft").get([session, row])]);
      if (!former && record.continued_in) throw new DeviceError("session_continued", { session: record.continued_in });
      const { said = null, entry = null } = former ?? {};
      await tx.objectStore("draft").put({ session, row, kind, values, order, undo, at: Date.now(), dropped: false, said, entry });
    });
    this.#tab.tell({ what: "row", session, row });
    return row;
  }

  async dropRow(session, row) {
    await this.write(["draft"], async (tx) => {
      const draft = await tx.objectStore("draft").get([session, row]);
      if (draft?.entry) await tx.objectStore("draft").put({ ...draft, dropped: true, at: Date.now() });
      else await tx.objectStore("draft").delete([session, row]);
    });
    this.#tab.tell({ what: "row", session, row });
  }

  /** Every session, newest first, with how much of it is where. */
  async list() {
    const held = await this.#notes.read(["session", "draft", "shown", "entry", "mark", "refused", "moved"], async (tx) => ({
      records: await tx.objectStore("session").getAll(),
      drafts: groups(await tx.objectStore("draft").getAll()),
      shown: groups(await tx.objectStore("shown").getAll()),
      sealed: await digestsOf(tx),
      moved: groups(await tx.objectStore("moved").getAll()),
      marks: await tx.objectStore("mark").getAll(),
      refused: groups(await tx.objectStore("refused").getAll()),
    }));
    const marked = groups(held.marks);
    const photosHeld = new Set(held.marks.filter((mark) => !mark.session).map((mark) => mark.digest));
    const at = (group, { session }) => group.get(session) ?? [];
    return held.records
      .sort((one, other) => other.started_at - one.started_at || (one.session < other.session ? 1 : -1))
      .map((record) => {
        const drafts = at(held.drafts, record);
        const shown = at(held.shown, record);
        const gone = goneFrom(drafts);
        const photos = [...new Set(shown.filter((one) => !gone(one)).map((one) => one.photo))];
        const sealed = held.sealed.get(record.session).length - at(held.moved, record).length;
        const { session, head, state, started_at, continued_in } = record;
        return {
          ...{ session, head, state, started_at, continued_in, sealed },
          rows: drafts.filter((draft) => !draft.dropped).length,
          on_base: at(marked, record).length,
          total: sealed + unsaid(record, drafts, shown),
          photos: photos.length,
          photos_on_base: photos.filter((photo) => photosHeld.has(photo)).length,
          refused: at(held.refused, record).map(({ digest, why, detail }) => ({ digest, why, detail })),
        };
      });
  }

  /** Seal what is unsaid in every session. @returns {Promise<number>} how many entries that made */
  sealAll(device) {
    return this.#inTurn(async () => {
      const sessions = await this.#notes.read(["session"], (tx) => tx.objectStore("session").getAllKeys());
      let made = 0;
      for (const session of sessions) made += await this.#seal(session, device);
      return made;
    });
  }

  /**
   * Say anew, in a session of its own, what a base does not hold of one that cannot be continued: another device went on in it,
   * or it was begun under another pairing. Rows whose entry a base holds stay where they are.
   *
   * @param {string} session
   * @param {Set<string>} lacking digests that the base does not hold
   * @returns {Promise<string | null>} the new session; null where nothing had to move
   */
  async continueAnew(session, lacking) {
    const next = newId();
    const moved = await this.write(["session", "draft", "shown", "entry", "moved"], async (tx) => {
      const record = await theSession(tx, session);
      const isOut = ({ entry }) => !entry || lacking.has(entry);
      const drafts = (await tx.objectStore("draft").getAll(ofSession(session))).filter((one) => isOut(one) && !one.dropped);
      const shown = (await tx.objectStore("shown").getAll(ofSession(session))).filter((one) => isOut(one) && !one.dropped);
      const to = record.continued_in ?? next;
      if (!record.continued_in) {
        await tx.objectStore("session").add({ ...record, ...UNSEALED, session: to, started_at: Date.now() });
        await tx.objectStore("session").put({ ...record, state: "closed", continued_in: to });
      }
      for (const [store, ones, key] of [["draft", drafts, (one) => [session, one.row]], ["shown", shown, (one) => [session, one.photo, one.row]]]) {
        for (const one of ones) {
          await tx.objectStore(store).delete(key(one));
          await tx.objectStore(store).put({ ...one, session: to, said: null, entry: null });
        }
      }
      for (const digest of lacking) await tx.objectStore("moved").put({ digest, session, to });
      return to;
    });
    this.#tab.tell({ what: "session", session: moved });
    return moved;
  }

  /** A transaction that writes: in turn, and only in the tab that may. */
  write(stores, work) {
    return this.#inTurn(() => this.#fenced(stores, work));
  }

  #fenced(stores, work) {
    // Asked together: each round to the browser's process costs a slow phone as much as the writing. Whether this tab may write is
    // answered before anything can be committed; if not, the transaction ends there, and nothing of the work is kept.
    return this.#notes.write(["keep", ...stores], async (tx) => (await Promise.all([this.#tab.mayWrite(tx), work(tx)]))[1]);
  }

  async #seal(session, device) {
    const { record, drafts, shown } = await this.#notes.read(["session", "draft", "shown"], async (tx) => ({
      record: await tx.objectStore("session").get(session),
      drafts: await tx.objectStore("draft").getAll(ofSession(session)),
      shown: await tx.objectStore("shown").getAll(ofSession(session)),
    }));
    // Hashed before the transaction is begun: one that waits for anything but its own requests ends by itself.
    const said = await seal(record, drafts.sort(inSlateOrder), shown.sort(inSlateOrder), device);
    if (!said.entries.length) return 0;
    await this.#fenced(["session", "draft", "shown", "entry"], async (tx) => {
      await Promise.all([
        ...said.entries.map((entry) => tx.objectStore("entry").put(entry)),
        ...said.drafts.map((one) => settle(tx.objectStore("draft"), one, [session, one.row])),
        ...said.shown.map((one) => settle(tx.objectStore("shown"), one, [session, one.photo, one.row])),
        tx.objectStore("session").put(said.record),
      ]);
    });
    this.#tab.tell({ what: "session", session });
    return said.entries.length;
  }

  async #change(session, values) {
    await this.write(["session"], async (tx) => tx.objectStore("session").put({ ...(await theSession(tx, session)), ...values }));
    this.#tab.tell({ what: "session", session });
  }

  #inTurn(work) {
    const done = this.#turn.then(work);
    this.#turn = done.catch(() => {});
    return done;
  }
}

/** How many entries a session would gain if it were sealed now. */
export function unsaid(record, drafts, shown) {
  if (!record.seq && record.state === "open" && !drafts.length && !shown.length) return 0;
  const head = Number(canonical(headValues(record.head)) !== record.head_said);
  const inside = head + drafts.filter(isUnsaid).length + unsaidPhotos(drafts, shown).length;
  return inside + Number(mustClose(record, inside));
}

/** @returns {Promise<Map<string, string[]>>} digests of the entries of each session, in their order; without their bodies */
export async function digestsOf(tx) {
  const sessions = await tx.objectStore("session").getAllKeys();
  const places = tx.objectStore("entry").index("place");
  const digests = await Promise.all(sessions.map((session) => places.getAllKeys(ofSession(session))));
  return new Map(sessions.map((session, i) => [session, digests[i]]));
}

function settle(store, one, key) {
  return one.dropped ? store.delete(key) : store.put(one);
}

async function theSession(tx, session) {
  const record = await tx.objectStore("session").get(session);
  if (!record) throw new DeviceError("no_session", { session });
  return record;
}

function inSlateOrder(one, other) {
  return (one.order ?? 0) - (other.order ?? 0) || one.at - other.at;
}

function checkFits(values) {
  const bytes = new TextEncoder().encode(canonical(values)).length;
  if (bytes > MAX_BYTES - ROOM_FOR_THE_REST) throw new DeviceError("too_long", { bytes, most: MAX_BYTES - ROOM_FOR_THE_REST });
}

function groups(records) {
  const found = new Map();
  for (const one of records) {
    if (!found.has(one.session)) found.set(one.session, []);
    found.get(one.session).push(one);
  }
  return found;
}

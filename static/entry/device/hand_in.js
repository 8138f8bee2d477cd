/**
 * Handing in, as docs/exchange.md says. Nobody remembers what was sent: base and device compare what they hold, what the base
 * lacks is sent, and what it says it holds is marked. A mark is a hint for the page; the next time the base is asked again.
 * Any request may be cut, repeated or refused, and nothing is dropped for it.
 */
import { sha256, sumOf } from "./digest.js";
import { line } from "./entry.js";
import { DeviceError } from "./errors.js";
import { goneFrom } from "./sealing.js";
import { digestsOf } from "./slates.js";
import { Wire } from "./wire.js";

// The wire's limits (docs/exchange.md).
const MOST_LINES = 500;
const MOST_BATCH_BYTES = 1024 * 1024;
const PIECE = 1024 * 1024;
const MOST_DIGESTS = 5000; // in one question, some 350 kB

// Chosen: in all some 10 s for a base that was seen a moment ago; who hands in stands there and watches.
const TRIES = 4;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 30_000;
const PASSES = ["unreachable", "busy", "base_trouble", "not_acknowledged"];

export class HandingIn {
  #notes;
  #slates;
  #album;
  #pairing;
  #told;
  #report;
  #signal;
  #wire = null;

  /**
   * @param {{notes: object, slates: object, album: object, pairing: object, signal?: AbortSignal, report: (progress: object | null) => void}} parts
   */
  constructor({ notes, slates, album, pairing, signal, report }) {
    this.#notes = notes;
    this.#slates = slates;
    this.#album = album;
    this.#pairing = pairing;
    this.#signal = signal;
    this.#report = report;
    this.#told = { entries: { sent: 0, held: 0, refused: 0 }, photos: { sent: 0, left: 0 }, clock_off_ms: null, forked: [] };
  }

  /** @returns {Promise<object>} what came of it; what stopped it is `error` */
  async run(photos) {
    try {
      await this.#slates.sealAll(this.#pairing.paired().device);
      this.#wire = await this.#find();
      await this.#handInEntries();
      await this.#handInPhotos(photos);
    } catch (error) {
      if (!(error instanceof DeviceError)) throw error;
      this.#told.error = { code: error.code, ...error.data };
    } finally {
      this.#report(null);
    }
    return this.#told;
  }

  async #handInEntries() {
    let { lacking, broken } = await this.#compare();
    if (await this.#continueAnew(broken, lacking)) ({ lacking } = await this.#compare());
    const entries = await this.#entriesOf(lacking);
    if (!entries.length) return;
    for (const batch of batches(entries)) {
      await this.#send(batch);
      this.#report({ stage: "entries", done: this.#told.entries.sent + this.#told.entries.refused, total: entries.length });
    }
    // Only now does the base know of a clone's entries in the places of ours.
    const after = await this.#compare();
    await this.#continueAnew(after.broken, new Map());
  }

  /**
   * Ask the base what it lacks, and mark what it holds.
   * @returns {Promise<{lacking: Map<string, string[]>, broken: string[]}>} digests by session; sessions that cannot be continued
   */
  async #compare() {
    const { held, moved } = await this.#held();
    const sums = Object.fromEntries([...held].map(([session, { digests }]) => [session, [digests.length, sumOf(digests)]]));
    const unsent = await this.#unsent(held, moved);
    const { differ, forked, clock_off_ms } = await this.#patiently((wire) => wire.have({ at: Date.now(), sessions: sums, unsent }));
    this.#told.clock_off_ms = clock_off_ms;
    const lacking = new Map();
    const broken = new Set(forked);
    for (const asked of questions(differ.filter((session) => held.has(session)), held)) {
      const answer = await this.#patiently((wire) => wire.lack(asked));
      const lack = new Set(answer.lack);
      answer.forked.forEach((session) => broken.add(session));
      for (const [session, digests] of Object.entries(asked)) {
        const some = digests.filter((digest) => lack.has(digest) && !moved.has(digest));
        if (some.length) lacking.set(session, some);
      }
    }
    await this.#mark(held, moved, lacking);
    const { device } = this.#pairing.paired();
    for (const session of lacking.keys()) if (held.get(session).record.device !== device) broken.add(session);
    return { lacking, broken: [...broken].filter((session) => held.has(session)) };
  }

  /** Continue sessions that cannot go on in sessions of their own. @returns {Promise<boolean>} whether any was */
  async #continueAnew(broken, lacking) {
    const { held } = await this.#held();
    let any = false;
    for (const session of broken) {
      const out = new Set(lacking.get(session));
      const { state, continued_in } = held.get(session).record;
      if (!out.size && (state === "closed" || continued_in)) continue;
      await this.#slates.continueAnew(session, out);
      this.#told.forked.push(session);
      any = true;
    }
    if (any) await this.#slates.sealAll(this.#pairing.paired().device);
    return any;
  }

  async #send(entries) {
    try {
      const refused = await this.#patiently((wire) => this.#acknowledged(wire, entries));
      const held = entries.filter(({ digest }) => !refused.has(digest));
      await this.#settle(held, [...refused.values()], entries);
      this.#told.entries.sent += held.length;
      this.#told.entries.refused += refused.size;
    } catch (error) {
      if (!["too_large", "refused"].includes(error.code)) throw error;
      await this.#sendApart(entries, error); // one bad line never holds up the rest
    }
  }

  async #sendApart(entries, error) {
    if (entries.length > 1) {
      const half = Math.ceil(entries.length / 2);
      await this.#send(entries.slice(0, half));
      await this.#send(entries.slice(half));
      return;
    }
    const { title: why = error.code, detail = "" } = error.data;
    await this.#settle([], [{ digest: entries[0].digest, why, detail }], entries);
    this.#told.entries.refused += 1;
  }

  /** Send lines; what the base says it holds now must be just these, but for those that it refuses. */
  async #acknowledged(wire, entries) {
    const answer = await wire.entries(entries.map(line).join(""));
    const refused = new Map(answer.refused.map((one) => [one.digest, one]));
    const held = entries.filter(({ digest }) => !refused.has(digest)).map(({ digest }) => digest);
    if (answer.held !== held.length || answer.sum !== sumOf(held)) throw new DeviceError("not_acknowledged");
    return refused;
  }

  async #handInPhotos(wanted) {
    const photos = await this.#photosToSend();
    const lack = new Set();
    for (const asked of pages([...photos.keys()])) {
      for (const photo of await this.#patiently((wire) => wire.photosLack(asked))) lack.add(photo);
    }
    await this.#markPhotos(photos, lack);
    const out = [...photos.values()].filter(({ photo }) => lack.has(photo));
    const size = out.reduce((sum, { bytes }) => sum + bytes, 0);
    const progress = { stage: "photos", done: 0, total: out.length, bytes_done: 0, bytes_total: size };
    this.#told.photos.left = out.length;
    if (!wanted) return;
    // Two at a time (of each the whole is in memory), so that nobody waits while one is forced to the disk.
    const lanes = [0, 1].map(async () => {
      while (out.length) {
        const photo = out.shift();
        let sent = 0;
        const report = (done) => {
          progress.bytes_done += done - sent;
          sent = done;
          this.#report({ ...progress });
        };
        const is = Number(await this.#sendPhoto(photo, report));
        this.#told.photos.sent += is;
        this.#told.photos.left -= is;
        progress.done += 1;
        progress.bytes_done += photo.bytes - sent;
      }
    });
    await Promise.allSettled(lanes); // what stops one of them stops the other soon
    await Promise.all(lanes);
  }

  /** @returns {Promise<boolean>} whether the base holds it now; else why not is kept beside the refused lines */
  async #sendPhoto({ photo, session }, report) {
    const kept = await this.#album.original(photo);
    if (!kept) return this.#damaged(photo, session, "photo_gone");
    for (let time = 1; time <= 2; time += 1) {
      if (await this.#patiently((wire) => sendPieces(wire, photo, kept.bytes, report))) {
        await this.#settle([{ digest: photo }], [], [{ digest: photo }]);
        return true;
      }
    }
    const isDamaged = (await sha256(kept.bytes)) !== photo;
    return this.#damaged(photo, session, isDamaged ? "photo_damaged" : "photo_not_taken");
  }

  async #damaged(photo, session, why) {
    await this.#settle([], [{ digest: photo, why, detail: "" }], [{ digest: photo, session }]);
    return false;
  }

  /**
   * Everything that is here: whole sessions, also what was moved to another since, so that the base takes none for a clone's.
   * @returns {Promise<{held: Map<string, {record: object, digests: string[]}>, moved: Set<string>}>}
   */
  #held() {
    return this.#notes.read(["session", "entry", "moved"], async (tx) => {
      const moved = new Set(await tx.objectStore("moved").getAllKeys());
      const records = await tx.objectStore("session").getAll();
      const digests = await digestsOf(tx);
      const held = new Map(records.map((record) => [record.session, { record, digests: digests.get(record.session) }]));
      for (const [session, one] of held) if (!one.digests.length) held.delete(session);
      return { held, moved };
    });
  }

  async #unsent(held, moved) {
    const photos = await this.#photosToSend();
    const marks = new Set(await this.#notes.read(["mark"], (tx) => tx.objectStore("mark").getAllKeys()));
    const entries = [...held.values()].flatMap(({ digests }) => digests).filter((digest) => !moved.has(digest));
    const out = (digests) => digests.filter((digest) => !marks.has(digest)).length;
    return { entries: out(entries), photos: out([...photos.keys()]) };
  }

  /** The entries that are lacking, newest session first, each in its order. */
  async #entriesOf(lacking) {
    return this.#notes.read(["session", "entry"], async (tx) => {
      const records = await Promise.all([...lacking.keys()].map((session) => tx.objectStore("session").get(session)));
      const sessions = records.sort((one, other) => other.started_at - one.started_at).map(({ session }) => session);
      return Promise.all(sessions.flatMap((session) => lacking.get(session)).map((digest) => tx.objectStore("entry").get(digest)));
    });
  }

  /** The photos that a sealed note names, newest session first. */
  async #photosToSend() {
    return this.#notes.read(["session", "draft", "shown"], async (tx) => {
      const drafts = await tx.objectStore("draft").getAll();
      const started = new Map((await tx.objectStore("session").getAll()).map(({ session, started_at }) => [session, started_at]));
      const isGone = goneFrom(drafts);
      const shown = (await tx.objectStore("shown").getAll()).filter((one) => one.entry && !isGone(one));
      shown.sort((one, other) => started.get(other.session) - started.get(one.session) || one.at - other.at);
      return new Map(shown.map((one) => [one.photo, one]));
    });
  }

  /** Marks follow what the base says, both ways: a base that was restored from an older backup holds less than it did. */
  #mark(held, moved, lacking) {
    const out = new Set([...lacking.values()].flat());
    const all = [...held]
      .flatMap(([session, { digests }]) => digests.map((digest) => ({ digest, session })))
      .filter(({ digest }) => !moved.has(digest));
    this.#told.entries.held = all.length - out.size;
    return this.#slates.write(["mark", "refused"], (tx) => marks(tx, all, (one) => out.has(one.digest)));
  }

  #markPhotos(photos, lack) {
    const all = [...photos.keys()].map((digest) => ({ digest }));
    return this.#slates.write(["mark", "refused"], (tx) => marks(tx, all, (one) => lack.has(one.digest)));
  }

  #settle(held, refused, entries) {
    const sessions = new Map(entries.map(({ digest, session }) => [digest, session]));
    const named = (one) => ({ ...one, ...(sessions.get(one.digest) && { session: sessions.get(one.digest) }) });
    return this.#slates.write(["mark", "refused"], (tx) =>
      Promise.all([
        marks(tx, held.map(({ digest }) => named({ digest })), () => false),
        ...refused.map(({ digest, why, detail }) => tx.objectStore("refused").put(named({ digest, why, detail }))),
      ]),
    );
  }

  async #find() {
    const found = await this.#pairing.reach(this.#signal);
    if (!found) throw new DeviceError(this.#signal?.aborted ? "stopped" : "unreachable");
    return new Wire(found.address, this.#pairing.paired().token, this.#signal);
  }

  /** Do a request, again after a while where that may help; the base is looked for anew each time, its address may have changed. */
  async #patiently(request) {
    for (let time = 1; ; time += 1) {
      try {
        return await request((this.#wire ??= await this.#find()));
      } catch (error) {
        const wait = Math.max(FIRST_WAIT_MS * 2 ** (time - 1) * (0.5 + Math.random() / 2), (error.data?.retry_after ?? 0) * 1000);
        if (!PASSES.includes(error.code) || time === TRIES || wait > LONGEST_WAIT_MS) throw error;
        this.#wire = null;
        await this.#pause(wait);
      }
    }
  }

  #pause(ms) {
    return new Promise((resolve, reject) => {
      const stop = () => reject(new DeviceError("stopped"));
      setTimeout(resolve, ms);
      this.#signal?.addEventListener("abort", stop);
      if (this.#signal?.aborted) stop();
    });
  }
}

/** @returns {Promise<boolean>} false where the base says that what arrived is another photo */
async function sendPieces(wire, photo, bytes, report) {
  let { offset, isComplete } = await wire.uploaded(photo);
  // Each turn brings the photo on by a piece, or tells the true place once; a base that never agrees must not hold us for ever.
  for (let turns = 2 * Math.ceil(bytes.byteLength / PIECE) + 2; !isComplete; turns -= 1) {
    if (!turns) throw new DeviceError("not_acknowledged");
    report(offset);
    const piece = bytes.slice(offset, offset + PIECE);
    const isLast = offset + piece.byteLength === bytes.byteLength;
    const answer = await wire.piece(photo, piece, { offset, size: bytes.byteLength });
    if (answer.isWrong) return false;
    isComplete = isLast && answer.offset === bytes.byteLength;
    offset = answer.offset;
  }
  return true;
}

function marks(tx, all, isOut) {
  return Promise.all(
    all.flatMap((one) =>
      isOut(one)
        ? [tx.objectStore("mark").delete(one.digest)]
        : [tx.objectStore("mark").put(one), tx.objectStore("refused").delete(one.digest)],
    ),
  );
}

function* batches(entries) {
  let batch = [];
  let size = 0;
  for (const entry of entries) {
    const bytes = new TextEncoder().encode(line(entry)).length;
    if (batch.length === MOST_LINES || size + bytes > MOST_BATCH_BYTES) {
      yield batch;
      [batch, size] = [[], 0];
    }
    batch.push(entry);
    size += bytes;
  }
  if (batch.length) yield batch;
}

/** Digests by session, whole sessions, about so many digests at a time as one question should hold. */
function* questions(sessions, held) {
  let asked = {};
  let size = 0;
  for (const session of sessions) {
    asked[session] = held.get(session).digests;
    size += asked[session].length;
    if (size < MOST_DIGESTS) continue;
    yield asked;
    [asked, size] = [{}, 0];
  }
  if (size) yield asked;
}

function* pages(digests) {
  for (let at = 0; at < digests.length; at += MOST_DIGESTS) yield digests.slice(at, at + MOST_DIGESTS);
}

/**
 * The photos on this device: bytes as taken in a database of their own, and in the notes what each of them shows.
 * The bytes are on the disk before a note names them; what they are to show is kept from before them, so that a photo that was
 * on its way when the browser was killed is there all the same when the page is opened again.
 */
import { cameraTime } from "./camera_time.js";
import { sha256 } from "./digest.js";
import { DeviceError } from "./errors.js";
import { ofSession } from "./notes.js";
import { smallCopy } from "./small_copy.js";

const ON_ITS_WAY = "photo "; // and its digest: among what is kept by name
export const MOST_BYTES = 64 * 1024 * 1024; // what a base takes

export class Album {
  #notes;
  #photos;
  #slates;
  #tab;

  constructor(notes, photos, slates, tab) {
    this.#notes = notes;
    this.#photos = photos;
    this.#slates = slates;
    this.#tab = tab;
  }

  /**
   * @param {string} session
   * @param {{row?: string, view: string, file: Blob}} taken
   * @throws {DeviceError} `full`, `photo_too_large`, `photo_unreadable`, and as `putRow`
   */
  async add(session, { row = "", view, file }) {
    if (!this.#tab.isWriter) throw new DeviceError("other_tab");
    if (file.size > MOST_BYTES) throw new DeviceError("photo_too_large", { bytes: file.size, most: MOST_BYTES });
    const device_time = withZone(new Date());
    const body = await file.arrayBuffer().catch((error) => {
      throw new DeviceError("photo_unreadable", {}, error);
    });
    const type = file.type || "application/octet-stream";
    const [photo, small] = [await sha256(body), await smallCopy(file)];
    const shown = { session, photo, row, view, bytes: body.byteLength, type, camera_time: cameraTime(body), device_time };
    await this.#slates.write([], (tx) => tx.objectStore("keep").put(shown, ON_ITS_WAY + photo));
    await this.#keepSmall(photo, small);
    await this.#photos.write(["bytes"], (tx) => tx.objectStore("bytes").put({ photo, bytes: body, type }));
    await this.#name(shown);
    return { photo, small, bytes: shown.bytes, camera_time: shown.camera_time, device_time };
  }

  /** What a killed browser left half done: photos whose bytes are here are named, and bytes that nothing names are removed. */
  async tidy() {
    const kept = await this.#photos.read(["bytes"], (tx) => tx.objectStore("bytes").getAllKeys());
    const { waiting, named } = await this.#notes.read(["keep", "shown"], async (tx) => ({
      waiting: await tx.objectStore("keep").getAll(IDBKeyRange.bound(ON_ITS_WAY, `${ON_ITS_WAY}~`)),
      named: (await tx.objectStore("shown").getAll()).map(({ photo }) => photo),
    }));
    for (const shown of waiting) {
      if (kept.includes(shown.photo)) await this.#name(shown);
      else await this.#slates.write([], (tx) => tx.objectStore("keep").delete(ON_ITS_WAY + shown.photo));
    }
    const known = new Set([...named, ...waiting.map(({ photo }) => photo)]);
    const left = kept.filter((photo) => !known.has(photo));
    if (left.length) await this.#photos.write(["bytes", "small"], (tx) => Promise.all(left.map((photo) => remove(tx, photo))));
  }

  async #name(shown) {
    const { session, photo, row } = shown;
    await this.#slates.write(["session", "shown"], async (tx) => {
      const [record, former] = [await tx.objectStore("session").get(session), await tx.objectStore("shown").get([session, photo, row])];
      if (!record) throw new DeviceError("no_session", { session });
      if (!former && record.continued_in) throw new DeviceError("session_continued", { session: record.continued_in });
      const { said = null, entry = null } = former ?? {};
      await tx.objectStore("shown").put({ ...shown, at: Date.now(), dropped: false, said, entry });
      await tx.objectStore("keep").delete(ON_ITS_WAY + photo);
    });
    this.#tab.tell({ what: "photo", session, row });
  }

  async of(session) {
    return this.#notes.read(["shown", "mark"], async (tx) => {
      const shown = (await tx.objectStore("shown").getAll(ofSession(session))).filter((one) => !one.dropped);
      const marks = await Promise.all(shown.map((one) => tx.objectStore("mark").getKey(one.photo)));
      return shown.map(({ photo, row, view, bytes, camera_time, device_time }, i) => ({
        ...{ photo, row: row || undefined, view, bytes, camera_time, device_time },
        on_base: marks[i] !== undefined,
      }));
    });
  }

  async drop(session, photo, row = "") {
    const isStillNamed = await this.#slates.write(["shown", "mark"], async (tx) => {
      const store = tx.objectStore("shown");
      const one = await store.get([session, photo, row]);
      if (one?.entry) await store.put({ ...one, dropped: true });
      else await store.delete([session, photo, row]);
      return (await store.getAll()).some((other) => other.photo === photo);
    });
    if (!isStillNamed) await this.#photos.write(["bytes", "small"], (tx) => remove(tx, photo));
    this.#tab.tell({ what: "photo", session, row: row || undefined });
  }

  /** @returns {Promise<{bytes: ArrayBuffer, type: string} | undefined>} */
  original(photo) {
    return this.#photos.read(["bytes"], (tx) => tx.objectStore("bytes").get(photo));
  }

  /**
   * @param {string} photo
   * @param {() => Promise<Blob | null>} fetched asked where no small copy is here
   */
  async small(photo, fetched) {
    const kept = await this.#photos.read(["small"], (tx) => tx.objectStore("small").get(photo));
    if (kept) return new Blob([kept.bytes], { type: kept.type });
    const small = await fetched();
    if (this.#tab.isWriter) await this.#keepSmall(photo, small);
    return small;
  }

  async #keepSmall(photo, small) {
    if (!small) return;
    const bytes = await small.arrayBuffer();
    await this.#photos.write(["small"], (tx) => tx.objectStore("small").put({ photo, bytes, type: small.type })).catch((error) => {
      if (error.code !== "full") throw error; // it can be made again; whether the photo itself fits is told when that is kept
    });
  }
}

/** `2026-11-10T08:31:07+11:00`: by the device's clock and in its zone, so that it can be laid beside the camera's time. */
function withZone(time) {
  const ahead = -time.getTimezoneOffset();
  const two = (number) => String(Math.trunc(Math.abs(number))).padStart(2, "0");
  const local = new Date(time.getTime() + ahead * 60_000).toISOString().slice(0, 19);
  return `${local}${ahead < 0 ? "-" : "+"}${two(ahead / 60)}:${two(ahead % 60)}`;
}

function remove(tx, photo) {
  return Promise.all([tx.objectStore("bytes").delete(photo), tx.objectStore("small").delete(photo)]);
}

/**
 * The device behind the entry page: what was typed and taken is kept here, sealed into entries, and handed in. The page
 * touches neither the browser's databases nor the network but through what `openDevice` gives.
 *
 * A promise that resolves means that it is on the disk. What went wrong is a `DeviceError`: its `code` is a key of the
 * catalogue below `entry.`.
 */
import { Album } from "./album.js";
import { MOST_PHOTO_BYTES, carryFile } from "./carry_file.js";
import { line } from "./entry.js";
import { DeviceError } from "./errors.js";
import { HandingIn } from "./hand_in.js";
import { openNotes, openPhotos } from "./notes.js";
import { countOnlyHere } from "./only_here.js";
import { Pairing } from "./pairing.js";
import { Slates } from "./slates.js";
import { Tab } from "./tab.js";
import { Wire } from "./wire.js";

export { DeviceError };

/** @returns {Promise<Device>} never fails for lack of storage: then `trouble` says so */
export async function openDevice() {
  const device = new Device();
  await device.open();
  return device;
}

class Device extends EventTarget {
  /** @type {null | {what: "no_storage", why: string} | {what: "other_tab"}} */
  trouble = null;
  /** @type {null | {stage: "entries" | "photos", done: number, total: number, bytes_done?: number, bytes_total?: number}} */
  progress = null;
  #isFull = false;
  #notes = openNotes();
  #photos = openPhotos();
  #tab = new Tab(this.#notes, "fieldkit", (detail) => this.#heard(detail));
  #slates = new Slates(this.#notes, this.#tab);
  #album = new Album(this.#notes, this.#photos, this.#slates, this.#tab);
  #pairing = new Pairing(this.#notes, this.#slates, this.#tab);
  #handing = null;

  async open() {
    try {
      await this.#tab.claim();
      await this.#pairing.load();
      // What cannot be tidied, for want of room perhaps, is tried again the next time; the page opens all the same.
      if (this.isWriter) await this.#album.tidy().catch((error) => console.error(error));
      this.#seeWhoWrites();
    } catch (error) {
      this.trouble = { what: "no_storage", why: String(error) };
    }
  }

  // --- what the browser gives

  /** Whether this tab may write; the others of this page look on. */
  get isWriter() {
    return this.#tab.isWriter;
  }

  async means() {
    const { storage } = navigator;
    const { usage = null, quota = null } = (await storage?.estimate?.().catch(() => null)) ?? {};
    return {
      secure: isSecureContext && Boolean(crypto.subtle),
      persisted: (await storage?.persisted?.()) ?? null,
      usage,
      quota,
      full: this.#isFull,
    };
  }

  /** Ask the browser to keep what is here when room is short. @returns {Promise<boolean>} what it answered */
  async askToPersist() {
    return (await navigator.storage?.persist?.()) ?? false;
  }

  // --- the base

  get pairing() {
    return this.#pairing.current;
  }

  get register() {
    return this.#pairing.register;
  }

  pair(given) {
    return this.#pairing.pair(given);
  }

  /** Forget base and notes. @throws {DeviceError} `only_here`, with what no base holds, unless `evenSo` */
  async forget({ evenSo = false } = {}) {
    const only = await this.onlyHere();
    if (!evenSo && (only.entries || only.photos)) throw new DeviceError("only_here", only);
    const stores = ["keep", "session", "draft", "shown", "entry", "mark", "refused", "moved"];
    await this.#slates.write(stores.slice(1), (tx) => {
      const names = ["pairing", "register"].map((name) => tx.objectStore("keep").delete(name));
      return Promise.all([...names, ...stores.slice(1).map((store) => tx.objectStore(store).clear())]);
    });
    await this.#photos.write(["bytes", "small"], (tx) => Promise.all(["bytes", "small"].map((store) => tx.objectStore(store).clear())));
    this.#tab.tell({ what: "pairing" });
    await this.#pairing.load();
  }

  refreshRegister() {
    return this.#pairing.refresh();
  }

  reach() {
    return this.#pairing.reach();
  }

  addAddress(text) {
    return this.#pairing.addAddress(text);
  }

  // --- sessions and rows

  startSession(head) {
    return this.#full(this.#slates.start(head));
  }

  sessions() {
    return this.#slates.list();
  }

  putHead(session, head) {
    return this.#full(this.#slates.putHead(session, head));
  }

  rows(session) {
    return this.#slates.rows(session);
  }

  putRow(session, row) {
    return this.#full(this.#slates.putRow(session, row));
  }

  dropRow(session, row) {
    return this.#full(this.#slates.dropRow(session, row));
  }

  closeSession(session) {
    return this.#full(this.#slates.close(session));
  }

  reopenSession(session) {
    return this.#full(this.#slates.reopen(session));
  }

  // --- photos

  addPhoto(session, taken) {
    return this.#full(this.#album.add(session, taken));
  }

  photos(session) {
    return this.#album.of(session);
  }

  dropPhoto(session, photo, row) {
    return this.#full(this.#album.drop(session, photo, row));
  }

  /** @returns {Promise<Blob | null>} a small copy; from the base where none is here, and then kept */
  smallPhoto(photo) {
    return this.#album.small(photo, async () => {
      const found = this.pairing && (await this.reach());
      return found ? new Wire(found.address, this.pairing.token).small(photo).catch(() => null) : null;
    });
  }

  /** @returns {Promise<Blob | null>} a photo as it was taken, from here or from the base: handwriting wants every pixel */
  async picture(photo) {
    const kept = await this.#album.original(photo);
    if (kept) return new Blob([kept.bytes], { type: kept.type });
    const found = this.pairing && (await this.reach());
    return found ? new Wire(found.address, this.pairing.token).photo(photo).catch(() => null) : null;
  }

  // --- handing in

  onlyHere() {
    return countOnlyHere(this.#notes);
  }

  /**
   * Seal what is new and bring it to the base; photos where they are wanted. Asked twice at once it is done once.
   * Never fails for the network: `error` of what it gives says what stopped it.
   */
  handIn({ photos = false, signal } = {}) {
    if (!this.isWriter) return Promise.reject(new DeviceError("other_tab"));
    const parts = { notes: this.#notes, slates: this.#slates, album: this.#album, pairing: this.#pairing };
    const report = (progress) => {
      this.progress = progress;
      this.#heard({ what: "progress" });
    };
    this.#handing ??= new HandingIn({ ...parts, signal, report }).run(photos).finally(() => {
      this.#handing = null;
      this.#tab.tell({ what: "marks" });
    });
    return this.#handing;
  }

  /**
   * What no base holds, or all of some sessions, as a file.
   * @returns {Promise<{file: File, entries: number, photos: number, left: number}>} `left`: photos that did not fit in
   */
  async carryFile({ sessions = null } = {}) {
    const pairing = this.#pairing.paired();
    if (this.isWriter) await this.#slates.sealAll(pairing.device);
    const { entries, photos } = await this.#toCarry(sessions && new Set(sessions));
    let room = MOST_PHOTO_BYTES;
    const fit = photos.filter(({ bytes }) => bytes <= room && (room -= bytes) >= 0);
    const file = await carryFile(pairing, entries.map(line), this.#originals(fit));
    return { file, entries: entries.length, photos: fit.length, left: photos.length - fit.length };
  }

  async #toCarry(sessions) {
    return this.#notes.read(["entry", "mark", "moved", "shown"], async (tx) => {
      const [marks, moved] = await Promise.all(["mark", "moved"].map((store) => tx.objectStore(store).getAllKeys()));
      const [marked, out] = [new Set(marks), new Set(moved)];
      const isWanted = (digest, session) => (sessions ? sessions.has(session) : !marked.has(digest));
      const entries = (await tx.objectStore("entry").index("place").getAll()).filter(
        ({ digest, session }) => !out.has(digest) && isWanted(digest, session),
      );
      const shown = (await tx.objectStore("shown").getAll()).filter((one) => one.entry && isWanted(one.photo, one.session));
      return { entries, photos: [...new Map(shown.map((one) => [one.photo, one])).values()] };
    });
  }

  async *#originals(photos) {
    for (const { photo } of photos) {
      const kept = await this.#album.original(photo);
      if (kept) yield { photo, bytes: kept.bytes };
    }
  }

  // --- what changes

  #heard(detail) {
    if (detail.what === "writer") this.#seeWhoWrites();
    const loaded = ["pairing", "register"].includes(detail.what) ? this.#pairing.load() : Promise.resolve();
    loaded.then(() => this.dispatchEvent(new CustomEvent("change", { detail })));
  }

  #seeWhoWrites() {
    this.trouble = this.isWriter ? null : { what: "other_tab" };
  }

  /** Keep in mind whether the last thing that was to be written found no room. */
  async #full(written) {
    try {
      const result = await written;
      this.#isFull = false;
      return result;
    } catch (error) {
      this.#isFull = error.code === "full";
      throw error;
    }
  }
}

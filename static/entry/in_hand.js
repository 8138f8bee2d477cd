/**
 * The session in hand: the lines of its slate, and for each a signal of what is entered. A change is on the device's disk before
 * the signal shows it. Changes are made one after the other, each from what the one before left, however fast the keys are hit.
 */
import { batch, computed, signal } from "@preact/signals";
import { identity, linesOf, nextUnread, stateOf, tally, unlisted } from "./slate_order.js";
import { statusOf } from "./row/row.js";
import { attempt, device, register } from "./page.js";

const MOST_UNDO = 200;

/** @returns {Promise<InHand>} */
export async function takeInHand(session) {
  const listed = (await device.sessions()).find((one) => one.session === session);
  if (!listed) return null;
  const [rows, photos] = await Promise.all([device.rows(session), device.photos(session)]);
  return new InHand(session, listed.head, rows, photos);
}

/** The protocol that a session is written under; an older session's may have left the register, then the one in use. */
export function protocolOf(head) {
  const all = register.value?.protocols ?? [];
  return all.find((one) => one.digest === head.protocol) ?? all.find((one) => one.current) ?? all[0];
}

class InHand {
  #turn = Promise.resolve();
  #undo = signal([]);

  constructor(session, head, rows, photos) {
    this.session = session;
    this.head = signal(head);
    this.protocol = protocolOf(head);
    this.plants = !statusOf(this.protocol);
    const known = register.value?.plots ?? [];
    // A plot that left the register since keeps its rows, and they stay in sight.
    this.plots = (head.plots ?? []).map((id) => known.find((plot) => plot.plot === id) ?? { plot: id, name: "" });
    this.lines = signal(linesOf(this.plots, rows, { plants: this.plants }).map((line) => this.#live(line)));
    this.photos = signal(photos);
    this.at = signal(0);
    /** What was just done, for those who do not see it: read out politely. */
    this.told = signal("");
    this.open = signal(null);
    this.states = computed(() => this.lines.value.map((line) => line.state.value));
    this.counts = computed(() => tally(this.states.value));
    this.mayUndo = computed(() => this.#undo.value.length > 0);
    const first = nextUnread(this.states.value, -1);
    this.hold(first < 0 ? 0 : first);
  }

  #live(line) {
    const entry = signal(line.stored?.values ?? null);
    const state = computed(() => stateOf(line, entry.value, this.protocol));
    return { ...line, row: line.stored?.row, order: line.stored?.order ?? line.number, entry, state };
  }

  get line() {
    return this.lines.value[this.at.value];
  }

  /** Take a line in hand. */
  hold(place) {
    batch(() => {
      this.open.value = null;
      this.at.value = place;
    });
  }

  /** Go on to the next line that is unread. @returns {boolean} false where none is left */
  goOn() {
    const next = nextUnread(this.states.value, this.at.value);
    if (next < 0) return false;
    this.hold(next);
    return true;
  }

  /**
   * Change what is entered of a line.
   * @param {(values: object) => object | null} change of the values as they are then; null: nothing is said of it any more
   * @param {{typing?: string, then?: () => void}} [how] `typing`: a field that is being typed: its letters are taken back as one;
   *   `then`: what follows once it is stored, shown in one with it, since drawing twice is felt under the thumb
   * @returns {Promise<boolean>} whether it is stored
   */
  enter(line, change, { typing, then } = {}) {
    return this.#inTurn(async () => {
      const before = line.entry.value;
      const show = await this.#store(line, change(before ?? {}));
      batch(() => {
        show();
        this.#remember([{ line, before }], typing && `${line.key} ${typing}`);
        then?.();
      });
    });
  }

  /** The dive ended: the lines from a place on that nobody read were not searched. All taken back as one. */
  endDive(from, notSearched) {
    return this.#inTurn(async () => {
      const rest = this.lines.value.filter((line, place) => place >= from && line.expected && line.state.value === "unread");
      for (const line of rest) (await this.#store(line, notSearched(line.entry.value ?? {})))();
      this.#remember(rest.map((line) => ({ line, before: null })));
    });
  }

  /** A coral that the register does not expect here. @returns {Promise<boolean>} */
  addUnlisted(plot, values, kind = "observation") {
    return this.#inTurn(async () => {
      const last = Math.max(0, ...this.lines.value.map((line) => line.order));
      const ofPlot = this.lines.value.filter((line) => line.plot === plot).length;
      const stored = { kind, order: last + 1, values: { plot, line: String(ofPlot + 1), ...values } };
      stored.row = await device.putRow(this.session, stored);
      const line = this.#live({ ...unlisted({ plot }, stored), number: ofPlot + 1 });
      const end = this.lines.value.findLastIndex((one) => one.plot === plot) + 1 || this.lines.value.length;
      this.lines.value = this.lines.value.toSpliced(end, 0, line);
      this.#remember([{ line, before: null }]);
      this.hold(end);
    });
  }

  /** Take back what was done last, and go there. */
  undo() {
    return this.#inTurn(async () => {
      const last = this.#undo.value.at(-1);
      if (!last) return;
      for (const { line, before } of last.steps) (await this.#store(line, before))();
      batch(() => {
        this.#undo.value = this.#undo.value.slice(0, -1);
        this.lines.value = this.lines.value.filter((line) => line.expected || line.entry.value);
        this.hold(Math.max(0, this.lines.value.findIndex((line) => line === last.steps[0].line)));
      });
    });
  }

  /** A photo of a line, or of the slate or place where there is none. A row is made for it to hang on. */
  addPhoto(file, view, line) {
    return this.#inTurn(async () => {
      if (line && !line.row) line.row = await device.putRow(this.session, this.#stored(line, {}));
      await device.addPhoto(this.session, { row: line?.row, view, file });
      this.photos.value = await device.photos(this.session);
    });
  }

  dropPhoto(photo, row) {
    return this.#inTurn(async () => {
      await device.dropPhoto(this.session, photo, row);
      this.photos.value = await device.photos(this.session);
    });
  }

  putHead(head) {
    return this.#inTurn(async () => {
      await device.putHead(this.session, head);
      this.head.value = head;
    });
  }

  /** The photos of a line. The signal is read first: whoever is drawn with none is drawn anew when one comes. */
  photosOf(line) {
    const all = this.photos.value;
    return line.row ? all.filter((photo) => photo.row === line.row) : [];
  }

  /** @returns {Promise<() => void>} what shows the change, to be called now that it is on the disk */
  async #store(line, values) {
    // A photo hangs on its row: the row stays, and says nothing, until the photo is removed too.
    if (values || this.photosOf(line).length) line.row = await device.putRow(this.session, this.#stored(line, values ?? {}));
    else if (line.row) {
      await device.dropRow(this.session, line.row);
      line.row = undefined;
    }
    return () => (line.entry.value = values);
  }

  #stored(line, values) {
    const place = identity(line);
    return { row: line.row, kind: line.kind, order: line.order, values: { ...values, ...place } };
  }

  #remember(steps, typing) {
    const last = this.#undo.value.at(-1);
    if (typing && last?.typing === typing) return;
    this.#undo.value = [...this.#undo.value, { steps, typing }].slice(-MOST_UNDO);
  }

  #inTurn(work) {
    const done = this.#turn.then(() => attempt(work));
    this.#turn = done;
    return done;
  }
}

/**
 * The session in hand: the lines of its slate, and for each a signal of what is entered. A change is on the device's disk before
 * the signal shows it. Changes are made one after the other, each from what the one before left, however fast the keys are hit.
 *
 * What can be taken back is kept here, step by step; and with each row, what it was before its last change. So what was done last
 * can be taken back after a reload too, until it is sealed.
 */
import { batch, computed, signal } from "@preact/signals";
import { identity, keyOf, linesOf, nextUnread, stateOf, tally, unlisted } from "./slate_order.js";
import { isSecondAt, secondLook } from "./repeats.js";
import { isNotSearched, isRead, statusOf } from "./row/row.js";
import { attempt, device, register } from "./page.js";

const MOST_UNDO = 200;

/** @returns {Promise<InHand>} */
export async function takeInHand(session) {
  const all = await device.sessions();
  const head = all.find((one) => one.session === session)?.head;
  if (!head) return null;
  const [rows, photos, pictures] = await Promise.all([device.rows(session), device.photos(session), device.photos(head.types ?? "")]);
  const others = head.repeat ? all.filter((one) => isSecondAt(head, one.head)) : [];
  return new InHand(session, head, { rows, photos, pictures, read: others.length ? await readIn(others) : null });
}

/** The keys of the lines that were read in some sessions. */
async function readIn(sessions) {
  const rows = (await Promise.all(sessions.map(({ session }) => device.rows(session)))).flat();
  return new Set(rows.filter(({ values }) => isRead(values) && !isNotSearched(values)).map(({ values }) => keyOf(values)));
}

/** The protocol that a session is written under; an older session's may have left the register, then the one in use. */
export function protocolOf(head) {
  const all = register.value?.protocols ?? [];
  return all.find((one) => one.digest === head.protocol) ?? all.find((one) => one.current) ?? all[0];
}

class InHand {
  #turn = Promise.resolve();
  #undo = signal([]);

  constructor(session, head, { rows, photos, pictures, read }) {
    this.session = session;
    this.head = signal(head);
    this.protocol = protocolOf(head);
    this.plants = !statusOf(this.protocol);
    const known = register.value?.plots ?? [];
    // A plot that left the register since keeps its rows, and they stay in sight.
    this.plots = (head.plots ?? []).map((id) => known.find((plot) => plot.plot === id) ?? { plot: id, name: "" });
    const lines = linesOf(this.plots, rows, { plants: this.plants });
    const asked = head.repeat ? secondLook(lines, head.day, this.protocol.blind_repeats ?? "0", read) : lines;
    this.lines = signal(asked.map((line) => this.#live(line)));
    this.#undo.value = stepsOf(this.lines.value);
    this.photos = signal(photos);
    /** Photos of the session that is typed here, where it lies on this device. */
    this.pictures = pictures;
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
      const last = this.#undo.value.at(-1);
      const isSame = typing && last?.typing === `${line.key} ${typing}`;
      const step = isSame ? last : { step: this.#next, changes: [{ line, before }], typing: typing && `${line.key} ${typing}` };
      const show = await this.#store(line, change(before ?? {}), { step: step.step, before: step.changes[0].before });
      batch(() => {
        show();
        if (!isSame) this.#remember(step);
        then?.();
      });
    });
  }

  /** The dive ended: the lines from a place on that nobody read were not searched. All taken back as one. */
  endDive(from, notSearched) {
    return this.#inTurn(async () => {
      const rest = this.lines.value.filter((line, place) => place >= from && line.expected && line.state.value === "unread");
      const step = this.#next;
      for (const line of rest) (await this.#store(line, notSearched(line.entry.value ?? {}), { step, before: null }))();
      this.#remember({ step, changes: rest.map((line) => ({ line, before: null })) });
    });
  }

  /**
   * Corals that the register does not expect here, or that are planted; taken back as one.
   * @param {string} plot
   * @param {object[]} all the values of each
   * @returns {Promise<boolean>}
   */
  add(plot, all) {
    return this.#inTurn(async () => {
      const undo = { step: this.#next, before: null };
      const kind = this.plants ? "planting" : "observation";
      const most = (name, lines) => Math.max(0, ...lines.map((line) => line[name]));
      const order = most("order", this.lines.value) + 1;
      const number = most("number", this.lines.value.filter((line) => line.plot === plot)) + 1;
      const added = [];
      for (const [i, values] of all.entries()) {
        const stored = { kind, order: order + i, values: { plot, line: String(number + i), ...values }, undo };
        stored.row = await device.putRow(this.session, stored);
        added.push(this.#live({ ...unlisted({ plot }, stored), number: number + i }));
      }
      const end = this.lines.value.findLastIndex((one) => one.plot === plot) + 1 || this.lines.value.length;
      batch(() => {
        this.lines.value = this.lines.value.toSpliced(end, 0, ...added);
        this.#remember({ step: undo.step, changes: added.map((line) => ({ line, before: null })) });
        this.hold(end);
      });
    });
  }

  /** Take back what was done last, and go there. */
  undo() {
    return this.#inTurn(async () => {
      const last = this.#undo.value.at(-1);
      if (!last) return;
      for (const { line, before } of last.changes) (await this.#store(line, before))();
      batch(() => {
        this.#undo.value = this.#undo.value.slice(0, -1);
        this.lines.value = this.lines.value.filter((line) => line.expected || line.entry.value);
        this.hold(Math.max(0, this.lines.value.findIndex((line) => line === last.changes[0].line)));
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
  async #store(line, values, undo) {
    // A photo hangs on its row: the row stays, and says nothing, until the photo is removed too.
    if (values || this.photosOf(line).length) line.row = await device.putRow(this.session, { ...this.#stored(line, values ?? {}), undo });
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

  get #next() {
    return (this.#undo.value.at(-1)?.step ?? 0) + 1;
  }

  #remember(step) {
    this.#undo.value = [...this.#undo.value, step].slice(-MOST_UNDO);
  }

  #inTurn(work) {
    const done = this.#turn.then(() => attempt(work));
    this.#turn = done;
    return done;
  }
}

/** The steps that are kept with rows, the last of each row, in their order. */
function stepsOf(lines) {
  const steps = new Map();
  for (const line of lines) {
    const { step, before } = line.stored?.undo ?? {};
    if (step) steps.set(step, [...(steps.get(step) ?? []), { line, before }]);
  }
  return [...steps].sort(([one], [other]) => one - other).map(([step, changes]) => ({ step, changes }));
}

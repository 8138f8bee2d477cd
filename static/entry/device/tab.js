/**
 * Of all tabs that have this page open, one writes; and all hear what changed.
 *
 * The browser's locks choose the tab where there are any (not on plain http). Else tabs ask each other, and one that gets no
 * answer takes over; it may be wrong, if the other was only asleep. So the tab that writes is also named in the database,
 * and each write looks there first, in its own transaction: a tab that was passed over writes nothing any more.
 */
import { DeviceError } from "./errors.js";
import { newId } from "./ids.js";

const ANSWER_MS = 300; // chosen: a tab in the background answers within some ms, and the page should not wait long to begin
const ASK_AGAIN_MS = 2000;

export class Tab {
  isWriter = false;
  #id = newId();
  #notes;
  #name;
  #heard;
  #channel;
  #answered = false;

  /**
   * @param {import("./database.js").Database} notes
   * @param {string} name of lock and channel
   * @param {(detail: object) => void} heard what this tab or another says has changed
   */
  constructor(notes, name, heard) {
    this.#notes = notes;
    this.#name = name;
    this.#heard = heard;
    this.#channel = new BroadcastChannel(name);
    this.#channel.onmessage = ({ data }) => this.#listen(data);
  }

  /** Become the tab that writes if no other does, else as soon as it closes. Resolves when it is known which. */
  claim() {
    return navigator.locks ? this.#lock() : this.#ask();
  }

  /** To be asked first in each transaction that writes, and awaited before it is left; `keep` must be among its stores. */
  async mayWrite(transaction) {
    if (this.isWriter && (await transaction.objectStore("keep").get("writer")) === this.#id) return;
    this.#step(false);
    throw new DeviceError("other_tab");
  }

  tell(detail) {
    this.#heard(detail);
    this.#channel.postMessage({ detail });
  }

  #lock() {
    return new Promise((decided, failed) => {
      let isOurs = false;
      const hold = () => {
        isOurs = true;
        return this.#take().then(decided, failed).then(() => new Promise(() => {})); // until the tab closes
      };
      navigator.locks.request(this.#name, hold).catch(failed);
      setTimeout(() => isOurs || decided(), ANSWER_MS); // a page that is loaded anew may find its own lock from before for a moment
    });
  }

  async #ask() {
    this.#answered = false;
    this.#channel.postMessage({ asks: this.#id });
    await pause(ANSWER_MS + Math.random() * ANSWER_MS); // two tabs opened at once do not both end their waiting at once
    if (!this.#answered) await this.#take();
    addEventListener("pagehide", () => this.isWriter && this.#channel.postMessage({ leaves: this.#id }));
    setInterval(() => this.isWriter || this.#askAgain(), ASK_AGAIN_MS);
  }

  async #askAgain() {
    if (!this.#answered) return void (await this.#take());
    this.#answered = false;
    this.#channel.postMessage({ asks: this.#id });
  }

  #listen({ asks, writes, leaves, detail }) {
    if (detail) this.#heard(detail);
    if (asks && this.isWriter) this.#channel.postMessage({ writes: this.#id });
    if (writes) this.#answered = true;
    if (writes && this.isWriter) this.#step(false);
    if (leaves) this.#answered = false;
  }

  async #take() {
    await this.#notes.write(["keep"], (transaction) => transaction.objectStore("keep").put(this.#id, "writer"));
    this.#step(true);
    this.#channel.postMessage({ writes: this.#id });
  }

  #step(isWriter) {
    if (this.isWriter === isWriter) return;
    this.isWriter = isWriter;
    this.#heard({ what: "writer" });
  }
}

function pause(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms));
}

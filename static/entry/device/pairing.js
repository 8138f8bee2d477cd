/**
 * Which base this device belongs to, where that was found so far, and its register. The base's address may change every day:
 * all that are known are asked at once, and the first that answers as the right base is it.
 */
import { originOf } from "./address.js";
import { DeviceError } from "./errors.js";
import { Wire } from "./wire.js";

const PAIRING_MS = 20_000; // chosen: one address is asked, once, by somebody who stands beside the base
const MOST_ADDRESSES = 12; // chosen: all are asked at once, and a crew's base has one for each network it was ever in

export class Pairing {
  /** @type {null | {device: string, token: string, role: string, base: string, programme: string, programme_name: string, name: string, addresses: string[], off_ms?: number}} */
  current = null;
  /** @type {null | object} the register snapshot */
  register = null;
  #tag = null;
  #slates;
  #notes;
  #tab;

  constructor(notes, slates, tab) {
    this.#notes = notes;
    this.#slates = slates;
    this.#tab = tab;
  }

  /** Read again what is kept; in a second tab, what the first has changed. */
  async load() {
    const [pairing, register] = await this.#notes.read(["keep"], (tx) =>
      Promise.all(["pairing", "register"].map((name) => tx.objectStore("keep").get(name))),
    );
    this.current = pairing ?? null;
    this.register = register?.register ?? null;
    this.#tag = register?.tag ?? null;
  }

  /** @throws {DeviceError} `wrong_code`, `unreachable`, `other_programme`: what is here belongs to another; forget that first */
  async pair({ code, name, address = location.origin }) {
    const origin = originOf(address);
    const wire = new Wire(origin, null);
    const hello = await wire.hello(PAIRING_MS);
    if (this.current && this.current.programme !== hello.programme) {
      throw new DeviceError("other_programme", { here: this.current.programme_name, there: hello.programme_name });
    }
    const given = await wire.pair(code, name).catch((error) => {
      throw error.code === "not_allowed" ? new DeviceError("wrong_code", {}, error) : error;
    });
    const { device, token, role, base, programme, programme_name } = given;
    const addresses = [...new Set([origin, ...(this.current?.addresses ?? [])])];
    await this.#keep("pairing", { device, token, role, base, programme, programme_name, name, addresses });
    this.#tab.tell({ what: "pairing" });
    return this.current;
  }

  /**
   * The base, where it answers now.
   * @returns {Promise<{address: string, base: string, time: number, version: string, off_ms: number} | null>} `time` is the base's
   *   clock, and `off_ms` how far ours is ahead of it; the last of these is kept with the pairing
   */
  async reach(signal) {
    const { base, addresses } = this.paired();
    const asked = [...new Set([...addresses, location.origin])].map(async (address) => {
      const hello = await new Wire(address, null, signal).hello();
      if (hello.base !== base) throw new DeviceError("other_base", { address });
      return { address, base, time: hello.time, version: hello.version, off_ms: Date.now() - hello.time };
    });
    const found = await Promise.any(asked).catch(() => null);
    if (found && this.#tab.isWriter) await this.#remember(found.address, found.off_ms);
    return found;
  }

  /** @returns {Promise<string>} the origin that a typed address or address code means; it is asked from now on */
  async addAddress(text) {
    const origin = originOf(text);
    await this.#remember(origin);
    return origin;
  }

  /** @returns {Promise<"new" | "same" | "unreachable">} */
  async refresh() {
    const found = await this.reach();
    if (!found) return "unreachable";
    const fresh = await new Wire(found.address, this.current.token).register(this.#tag);
    if (!fresh) return "same";
    await this.#keep("register", fresh);
    this.#tab.tell({ what: "register" });
    return "new";
  }

  /** @throws {DeviceError} `not_paired` */
  paired() {
    if (!this.current) throw new DeviceError("not_paired");
    return this.current;
  }

  async #remember(address, off_ms = this.current?.off_ms) {
    const { addresses } = this.paired();
    const all = [address, ...addresses.filter((other) => other !== address)].slice(0, MOST_ADDRESSES);
    await this.#keep("pairing", { ...this.current, addresses: all, off_ms });
  }

  async #keep(name, value) {
    await this.#slates.write([], (tx) => tx.objectStore("keep").put(value, name));
    await this.load();
  }
}

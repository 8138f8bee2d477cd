/**
 * One database in the browser, opened when it is asked and again when it was lost.
 *
 * - What `write` resolved is on the disk: durability "strict", awaited to the end of the transaction.
 * - iOS closes databases behind the back of a page that goes to the background (the camera does that); then a transaction cannot
 *   be begun, or ends with "connection lost". Such work is done once more on a new connection, so it must be such that twice is as
 *   good as once.
 * - Upgrades only ever add stores and indexes, and what records gain must be dispensable. So an older page lets a newer one
 *   upgrade while both are open, and goes on with the newer database itself. What would break that needs a new name.
 */
import { openDB } from "idb";

import { DeviceError } from "./errors.js";

export class Database {
  #name;
  #steps;
  #opening = null;

  /**
   * @param {string} name
   * @param {((db: import("idb").IDBPDatabase) => void)[]} steps one a version, first to last
   */
  constructor(name, steps) {
    this.#name = name;
    this.#steps = steps;
  }

  /**
   * @template T
   * @param {string[]} stores
   * @param {(transaction: any) => Promise<T>} work may await nothing but the transaction's own requests
   * @returns {Promise<T>}
   */
  read(stores, work) {
    return this.#run(stores, "readonly", work);
  }

  /**
   * As `read`; resolved, it is on the disk; rejected, nothing of it is.
   * @throws {DeviceError} `full`: the browser has no more room for this page
   */
  write(stores, work) {
    return this.#run(stores, "readwrite", work);
  }

  async close() {
    const db = await this.#opening?.catch(() => null);
    this.#opening = null;
    db?.close();
  }

  async #run(stores, mode, work) {
    try {
      return await this.#once(stores, mode, work);
    } catch (error) {
      if (!isLost(error)) throw asDeviceError(error);
      await this.close();
    }
    return this.#once(stores, mode, work).catch((error) => Promise.reject(asDeviceError(error)));
  }

  async #once(stores, mode, work) {
    const db = await (this.#opening ??= this.#open());
    const transaction = db.transaction(stores, mode, { durability: "strict" });
    const done = transaction.done.catch((error) => Promise.reject(transaction.error ?? error));
    done.catch(() => {}); // it is awaited below, unless the work failed first
    try {
      const result = await work(transaction);
      await done;
      return result;
    } catch (error) {
      try {
        transaction.abort();
      } catch {
        // it has ended already; its own error says more than that of the request
      }
      throw transaction.error ?? error;
    }
  }

  async #open() {
    try {
      return await this.#connect(this.#steps.length).catch((error) => {
        if (error.name !== "VersionError") throw error;
        return this.#connect(undefined); // a newer page has been here
      });
    } catch (error) {
      this.#opening = null;
      throw error;
    }
  }

  #connect(version) {
    const letGo = () => {
      this.#opening = null;
    };
    return openDB(this.#name, version, {
      upgrade: (db, from) => this.#steps.slice(from).forEach((step) => step(db)),
      blocking: (_from, _to, event) => {
        letGo();
        event.target.close();
      },
      terminated: letGo,
    });
  }
}

function isLost(error) {
  return ["InvalidStateError", "UnknownError"].includes(error.name) || /connection|closing/i.test(error.message);
}

function asDeviceError(error) {
  if (error.name === "QuotaExceededError") return new DeviceError("full", {}, error);
  return error;
}

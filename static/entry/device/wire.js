/** The requests of docs/exchange.md to one base at one address. What goes wrong is told in a few codes, whatever caused it. */
import { DeviceError } from "./errors.js";

const HELLO_MS = 3000;
// Chosen: a piece of 1 MiB takes 50 s on a link of 20 kB/s, where nobody waits for photos any more.
const REQUEST_MS = 60_000;

const CODES = new Map([
  [401, "unpaired"],
  [403, "not_allowed"],
  [413, "too_large"],
  [429, "busy"],
  [503, "busy"],
  [507, "base_full"],
]);

export class Wire {
  /**
   * @param {string} address an origin
   * @param {string | null} token null before pairing
   * @param {AbortSignal} [signal] ends every request
   */
  constructor(address, token, signal) {
    this.address = address;
    this.token = token;
    this.signal = signal;
  }

  /** @param {number} [ms] how long to wait: briefly where several addresses are tried */
  async hello(ms = HELLO_MS) {
    return (await this.#ask("GET", "hello", { ms })).json();
  }

  async pair(code, name) {
    return (await this.#ask("POST", "pair", { json: { code, name } })).json();
  }

  async have(held) {
    return (await this.#ask("POST", "have", { json: held })).json();
  }

  async lack(sessions) {
    return (await this.#ask("POST", "lack", { json: { sessions } })).json();
  }

  async entries(lines) {
    return (await this.#ask("POST", "entries", { body: lines, headers: { "Content-Type": "text/plain; charset=utf-8" } })).json();
  }

  async photosLack(photos) {
    return (await (await this.#ask("POST", "photos/lack", { json: { photos } })).json()).lack;
  }

  /** @returns {Promise<{offset: number, isComplete: boolean}>} how much of a photo is there */
  async uploaded(photo) {
    const answer = await this.#ask("HEAD", `photos/${photo}`, { also: [404] });
    return answer.status === 404 ? { offset: 0, isComplete: false } : { offset: offsetOf(answer), isComplete: isComplete(answer) };
  }

  /**
   * @param {string} photo
   * @param {ArrayBuffer} piece
   * @param {{offset: number, size: number}} place
   * @returns {Promise<{offset: number, isWrong: boolean}>} how much is there now; `isWrong`: all of it, and it is another photo
   */
  async piece(photo, piece, { offset, size }) {
    const headers = {
      "Content-Type": "application/partial-upload",
      "Upload-Offset": String(offset),
      "Upload-Complete": offset + piece.byteLength === size ? "?1" : "?0",
      ...(offset === 0 && { "Upload-Length": String(size) }),
    };
    const answer = await this.#ask("PATCH", `photos/${photo}`, { body: piece, headers, also: [404, 409, 422] });
    if (answer.status === 404 || answer.status === 422) return { offset: 0, isWrong: answer.status === 422 };
    return { offset: offsetOf(answer), isWrong: false };
  }

  /** @returns {Promise<Blob | null>} null where the base has none */
  async small(photo) {
    const answer = await this.#ask("GET", `photos/${photo}?small=1`, { also: [404] });
    return answer.ok ? answer.blob() : null;
  }

  /** @returns {Promise<Blob | null>} the photo as it was taken; null where it is not there */
  async photo(photo) {
    const answer = await this.#ask("GET", `photos/${photo}`, { also: [404] });
    return answer.ok ? answer.blob() : null;
  }

  /** @returns {Promise<{tag: string | null, register: object} | null>} null where it is still that of the tag */
  async register(tag) {
    const answer = await this.#ask("GET", "register", { headers: tag ? { "If-None-Match": tag } : {}, also: [304] });
    return answer.status === 304 ? null : { tag: answer.headers.get("ETag"), register: await answer.json() };
  }

  async #ask(method, path, { json, body = json && JSON.stringify(json), headers = {}, also = [], ms = REQUEST_MS }) {
    const all = { ...headers, ...(json && { "Content-Type": "application/json" }), ...(this.token && { Authorization: `Bearer ${this.token}` }) };
    const answer = await this.#fetched(`${this.address}/api/v1/${path}`, { method, body, headers: all }, ms);
    if (answer.ok || also.includes(answer.status)) return answer;
    throw await refusal(answer);
  }

  async #fetched(url, request, ms) {
    const ended = new AbortController();
    const end = () => ended.abort();
    const timer = setTimeout(end, ms);
    this.signal?.addEventListener("abort", end);
    if (this.signal?.aborted) end();
    try {
      const options = { mode: "cors", credentials: "omit", cache: "no-store", redirect: "error", referrerPolicy: "no-referrer" };
      return await fetch(url, { ...request, ...options, signal: ended.signal });
    } catch (error) {
      throw new DeviceError(this.signal?.aborted ? "stopped" : "unreachable", { address: this.address }, error);
    } finally {
      clearTimeout(timer);
      this.signal?.removeEventListener("abort", end);
    }
  }
}

async function refusal(answer) {
  const { title, detail } = await answer.json().catch(() => ({}));
  const wait = Number(answer.headers.get("Retry-After")) || undefined;
  const code = CODES.get(answer.status) ?? (answer.status >= 500 ? "base_trouble" : "refused");
  return new DeviceError(code, { status: answer.status, title, detail, ...(wait && { retry_after: wait }) });
}

function offsetOf(answer) {
  return Number(answer.headers.get("Upload-Offset"));
}

function isComplete(answer) {
  return answer.headers.get("Upload-Complete") === "?1";
}

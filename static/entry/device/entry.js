/** An entry: one thing that one person said, made once and never changed. docs/entries.md says what is in one. */
import { canonical } from "./canonical.js";
import { sha256 } from "./digest.js";
import { DeviceError } from "./errors.js";

export const MAX_BYTES = 16 * 1024;

/**
 * @typedef {{digest: string, session: string, seq: number, kind: string, at: number, body: string}} Entry
 * `body` is the canonical form as it was hashed; it is never made a second time.
 */

/**
 * @param {{kind: string, device: string, session: string, seq: number, values: object, replaces?: string[]}} said
 * @returns {Promise<Entry>}
 * @throws {DeviceError} `not_sendable`, `too_long`
 */
export async function mint({ kind, device, session, seq, values, replaces = [] }) {
  const at = Date.now();
  const body = canonical({ v: 1, kind, device, session, seq, at, replaces: [...new Set(replaces)].sort(), values });
  const bytes = new TextEncoder().encode(body);
  if (bytes.length > MAX_BYTES) throw new DeviceError("too_long", { bytes: bytes.length, most: MAX_BYTES });
  return { digest: await sha256(bytes), session, seq, kind, at, body };
}

/** The entry as it travels, on the wire and in carry files. */
export function line(entry) {
  return `${entry.digest} ${entry.body}\n`;
}

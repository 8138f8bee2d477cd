/**
 * A new name for a thing: a UUIDv7 (RFC 9562, section 5.7). Nothing reads the time in it. Made from `getRandomValues`, since a
 * page on plain http has no `randomUUID`, and that would be version 4.
 * @returns {string}
 */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  new DataView(bytes.buffer).setBigUint64(0, (BigInt(Date.now()) << 16n) | BigInt((bytes[6] << 8) | bytes[7]));
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

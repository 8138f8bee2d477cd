/**
 * SHA-256 as 64 small hexadecimal digits, and sums of them. A page on plain http has no `crypto.subtle`: there a library in
 * plain JavaScript does it, fetched only then.
 */

/**
 * @param {ArrayBuffer | Uint8Array | string} data a text is taken as UTF-8
 * @returns {Promise<string>}
 */
export async function sha256(data) {
  const bytes = typeof data === "string" ? new TextEncoder().encode(data) : data;
  if (globalThis.crypto.subtle) return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)));
  const library = await import("@noble/hashes/sha2.js");
  return hex(library.sha256(new Uint8Array(bytes)));
}

/**
 * The sum of digests modulo 2^256: two sides that hold the same entries have the same sum, in whatever order they came.
 * @param {Iterable<string>} digests
 * @returns {string} 64 hexadecimal digits
 */
export function sumOf(digests) {
  let sum = 0n;
  for (const digest of digests) sum += BigInt(`0x${digest}`);
  return BigInt.asUintN(256, sum).toString(16).padStart(64, "0");
}

function hex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * A ZIP file of stored members whose headers say their true sizes, so that a torn one can be read from the front; the libraries
 * that write while reading put the sizes behind the bytes, which docs/carry-file.md refuses. Members are Blobs, which the browser
 * may keep on the disk: only one of them is in memory at a time.
 *
 * Source: PKWARE, APPNOTE.TXT 6.3.10, sections 4.3.7 (local header), 4.3.12 (directory), 4.3.16 (its end).
 */

const LONG_AGO = 0x0021; // 1980-01-01, as MS-DOS counts days: the same members give the same bytes at any hour
const VERSION = 20;
const MADE_BY_UNIX = (3 << 8) | VERSION;
const PLAIN_FILE = 0o100644 << 16;

export class Zip {
  #parts = [];
  #directory = [];
  #at = 0;

  /**
   * @param {string} name ASCII
   * @param {ArrayBuffer} bytes
   */
  add(name, bytes) {
    const letters = new TextEncoder().encode(name);
    const crc = crc32(new Uint8Array(bytes));
    const common = [[VERSION, 2], [0, 2], [0, 2], [0, 2], [LONG_AGO, 2], [crc, 4], [bytes.byteLength, 4], [bytes.byteLength, 4], [letters.length, 2], [0, 2]];
    const rest = [[0, 2], [0, 2], [0, 2], [PLAIN_FILE, 4], [this.#at, 4]];
    this.#directory.push(packed([[0x02014b50, 4], [MADE_BY_UNIX, 2], ...common, ...rest]), letters);
    const header = packed([[0x04034b50, 4], ...common]);
    this.#parts.push(header, letters, new Blob([bytes]));
    this.#at += header.length + letters.length + bytes.byteLength;
  }

  /** @returns {Blob[]} the parts of the whole file */
  parts() {
    const count = this.#directory.length / 2;
    const size = this.#directory.reduce((sum, part) => sum + part.length, 0);
    const end = packed([[0x06054b50, 4], [0, 2], [0, 2], [count, 2], [count, 2], [size, 4], [this.#at, 4], [0, 2]]);
    return [...this.#parts, ...this.#directory, end];
  }
}

/** @param {[number, number][]} fields value and how many bytes, 2 or 4; little-endian */
function packed(fields) {
  const view = new DataView(new ArrayBuffer(fields.reduce((sum, [, size]) => sum + size, 0)));
  let at = 0;
  for (const [value, size] of fields) {
    if (size === 2) view.setUint16(at, value, true);
    else view.setUint32(at, value, true);
    at += size;
  }
  return new Uint8Array(view.buffer);
}

const TABLE = Uint32Array.from({ length: 256 }, (_, byte) => {
  let crc = byte;
  for (let bit = 0; bit < 8; bit += 1) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
  return crc;
});

function crc32(bytes) {
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i += 1) crc = TABLE[(crc ^ bytes[i]) & 0xff] ^ (crc >>> 8);
  return (crc ^ 0xffffffff) >>> 0;
}

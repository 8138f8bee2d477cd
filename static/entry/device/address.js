/** Where a base is, as a person types it: an address, a name, or the eight letters of an address code (docs/exchange.md). */
import { DeviceError } from "./errors.js";

const PORT = "8443"; // the base's, where none is named
const LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"; // Crockford's base 32
const CHECK = 251;
const CODE = /^[0-9A-Z]{8}$/;

/**
 * @param {string} typed
 * @returns {string} an origin
 * @throws {DeviceError} `no_address`; `wrong_address_code`: there is a slip in it
 */
export function originOf(typed) {
  const [letters, port = PORT] = typed.split(":");
  const code = letters.toUpperCase().replace(/[\s-]/g, "");
  const text = CODE.test(code) ? `${hostOf(code)}:${port}` : typed.trim();
  if (/\s/.test(text)) throw new DeviceError("no_address", { typed });
  try {
    const url = new URL(/^https?:\/\//i.test(text) ? text : `https://${text}`);
    if (!url.port && url.origin !== location.origin) url.port = PORT;
    return url.origin;
  } catch (error) {
    throw new DeviceError("no_address", { typed }, error);
  }
}

/** The IPv4 address of a code: 32 bits of address, then its remainder by 251 in eight, five bits a letter. */
function hostOf(code) {
  const plain = code.replace(/[IL]/g, "1").replace(/O/g, "0");
  const bits = [...plain].reduce((sum, letter) => sum * 32 + LETTERS.indexOf(letter), 0); // 40 bits: a double holds them
  const number = Math.floor(bits / 256);
  if (plain.includes("U") || number % CHECK !== bits % 256) throw new DeviceError("wrong_address_code", { code });
  return [24, 16, 8, 0].map((shift) => (number >>> shift) & 255).join(".");
}

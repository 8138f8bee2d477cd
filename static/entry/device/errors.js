/**
 * What can go wrong on the device. `code` is a key of the catalogue below `entry.`: the page words it; `data` is what the
 * sentence names.
 */
export class DeviceError extends Error {
  /**
   * @param {string} code
   * @param {Record<string, unknown>} [data]
   * @param {unknown} [cause] what the browser said
   */
  constructor(code, data = {}, cause) {
    super(`${code} ${JSON.stringify(data)}`, { cause });
    this.name = "DeviceError";
    this.code = code;
    this.data = data;
  }
}

/** A drop of water on the glass taps twice: a second tap on the same key within this time is none. Common practice. */
export const DROP_MS = 300;

/** @returns {(key: string, at_ms: number) => boolean} whether a tap counts; the time is that of the event */
export function dropGuard() {
  let last = { key: "", at: -Infinity };
  return (key, at) => {
    if (key === last.key && at - last.at < DROP_MS) return false;
    last = { key, at };
    return true;
  };
}

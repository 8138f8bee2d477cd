/** Whether photos wait for a tap: notes leave at once, photos not on the last of the battery or over a slow link. Pure. */

// Chosen: what is left at the end of a boat day, and what a 2 MB photo would take half a minute over.
export const LOW_BATTERY = 0.3;
const SLOW = ["slow-2g", "2g", "3g"];

/**
 * @param {{level?: number, charging?: boolean} | null} battery null where the browser does not tell
 * @param {{effectiveType?: string, saveData?: boolean} | null} link
 * @returns {"battery" | "link" | null} what they wait for
 */
export function photosWaitFor(battery, link) {
  if (battery && !battery.charging && battery.level < LOW_BATTERY) return "battery";
  return link?.saveData || SLOW.includes(link?.effectiveType) ? "link" : null;
}

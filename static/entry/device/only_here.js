/** What no base has said that it holds: what would be gone with this device. */
import { goneFrom, isUnsaid, unsaidPhotos } from "./sealing.js";
import { digestsOf, unsaid } from "./slates.js";

/**
 * @param {import("./database.js").Database} notes
 * @returns {Promise<{rows: number, rows_on_base: number, entries: number, photos: number, bytes: number, oldest_at: number | null}>}
 *   `rows` as people count, `entries` as they are sent: those and heads, photos, corrections; `bytes` of the photos; the time of the
 *   oldest of all, by this device's clock
 */
export async function countOnlyHere(notes) {
  const here = await notes.read(["session", "draft", "shown", "entry", "mark", "moved"], async (tx) => {
    const [marks, moved] = await Promise.all(["mark", "moved"].map((store) => tx.objectStore(store).getAllKeys()));
    const safe = new Set([...marks, ...moved]);
    const out = [...(await digestsOf(tx)).values()].flat().filter((digest) => !safe.has(digest));
    return {
      safe,
      entries: await Promise.all(out.map((digest) => tx.objectStore("entry").get(digest))),
      records: await tx.objectStore("session").getAll(),
      drafts: await tx.objectStore("draft").getAll(),
      shown: await tx.objectStore("shown").getAll(),
    };
  });
  const of = (ones, { session }) => ones.filter((one) => one.session === session);
  const isNew = here.records.reduce((sum, record) => sum + unsaid(record, of(here.drafts, record), of(here.shown, record)), 0);
  const isGone = goneFrom(here.drafts);
  const photos = [...new Map(here.shown.filter((one) => !isGone(one) && !here.safe.has(one.photo)).map((one) => [one.photo, one])).values()];
  const times = [...here.entries, ...here.drafts.filter(isUnsaid), ...unsaidPhotos(here.drafts, here.shown), ...photos].map(({ at }) => at);
  const live = here.drafts.filter((draft) => !draft.dropped);
  const rows = live.filter((draft) => isUnsaid(draft) || !here.safe.has(draft.entry)).length;
  return {
    rows,
    rows_on_base: live.length - rows,
    entries: here.entries.length + isNew,
    photos: photos.length,
    bytes: photos.reduce((sum, { bytes }) => sum + bytes, 0),
    oldest_at: times.length ? times.reduce((one, other) => Math.min(one, other)) : null,
  };
}

/** The strip at the foot of every screen: what is true now of the notes on this device, and what went wrong last. */
import { counted, means, onlyHere, problem } from "./page.js";
import { size, t } from "./words.js";
import { html } from "./view.js";

const LOW_ROOM_BYTES = 100e6; // chosen: some thirty photos, a dive's

/** That room is short, before something finds none, where the browser tells that; and that something found none. */
function Room() {
  const { usage, quota, full } = means.value;
  const left = quota - usage;
  if (full) return html`<p class="warn" role="alert">${t("entry.storage_full")}</p>`;
  return quota && left < LOW_ROOM_BYTES ? html`<p class="warn" role="alert">${t("entry.storage_low", { size: size(Math.max(left, 0)) })}</p>` : null;
}

export function Strip() {
  const { rows_on_base, photos } = onlyHere.value;
  const { n, of } = counted.value;
  const here = [t(`entry.strip_${of}`, { n }), photos > 0 && t("entry.photos_here", { n: photos })].filter(Boolean).join(", ");
  return html`
    <aside class="foot-strip" aria-label=${t("entry.where_notes_are")}>
      ${problem.value ? html`<p class="warn" role="alert">${problem.value}</p>` : html`<${Room} />`}
      <p>${here} · ${t("entry.strip_base", { n: rows_on_base })}</p>
    </aside>
  `;
}

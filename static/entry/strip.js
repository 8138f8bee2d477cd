/** The strip at the foot of every screen: what is true now of the notes on this device, and what went wrong last. */
import { counted, onlyHere, problem } from "./page.js";
import { t } from "./words.js";
import { html } from "./view.js";

export function Strip() {
  const { rows_on_base, photos } = onlyHere.value;
  const { n, of } = counted.value;
  const here = [t(`entry.strip_${of}`, { n }), photos > 0 && t("entry.photos_here", { n: photos })].filter(Boolean).join(", ");
  return html`
    <aside class="foot-strip" aria-label=${t("entry.where_notes_are")}>
      ${problem.value && html`<p class="warn" role="alert">${problem.value}</p>`}
      <p>${here} · ${t("entry.strip_base", { n: rows_on_base })}</p>
    </aside>
  `;
}

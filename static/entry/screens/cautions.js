/** The cautions of the work, where it starts: short, and nothing to click away. The base's own go before the page's. */
import { register } from "../page.js";
import { said, t } from "../words.js";
import { html } from "../view.js";

export function Cautions() {
  const theirs = said(register.value?.cautions);
  const told = Array.isArray(theirs) && theirs.length ? theirs : [t("entry.caution_dive"), t("entry.caution_law"), t("entry.caution_plan")];
  return html`
    <aside class="cautions" aria-label=${t("entry.cautions")}>
      ${told.map((one) => html`<p key=${one}>${one}</p>`)}
    </aside>
  `;
}

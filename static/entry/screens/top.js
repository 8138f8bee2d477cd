/** The head of a screen: the way back, and its heading. */
import { t } from "../words.js";
import { Key, Title, html } from "../view.js";

export function Top({ title, back = () => history.back(), label = t("entry.back") }) {
  return html`<header class="strip"><${Key} name="back" class="plain" press=${back} aria-label=${label}>‹<//><${Title}>${title}<//></header>`;
}

/** Which page this is, which worker serves it, and which base was last reached: what a crew is asked for when something is odd. */
import { reached } from "../page.js";
import { t } from "../words.js";
import { html } from "../view.js";
import { PAGE, worker } from "../update.js";

export function Versions() {
  const { version, waiting } = worker.value;
  const shown = { page: PAGE, worker: version ?? "–", base: reached.value?.version ?? "–" };
  return html`<p class="versions">${t("entry.versions", shown)}${waiting && html` ${t("entry.update_waiting")}`}</p>`;
}

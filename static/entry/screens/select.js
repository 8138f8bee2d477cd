/** One of a list, by the phone's own wheel. */
import { html } from "../view.js";
import { t } from "../words.js";

/** @param {{label: string, value?: string, set: (value?: string) => void, choices: [string, string][], none?: string}} of `none`: what choosing none is called, where that is an answer */
export function Select({ label, value, set, choices, none }) {
  return html`
    <label class="field">${label}
      <select value=${value ?? ""} onChange=${({ target }) => set(target.value || undefined)}>
        ${(none || !value) && html`<option value="">${none ?? t("entry.choose")}</option>`}
        ${choices.map(([one, name]) => html`<option key=${one} value=${one} selected=${one === value}>${name}</option>`)}
      </select>
    </label>
  `;
}

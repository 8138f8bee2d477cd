/** One of a list, by the phone's own wheel. */
import { html } from "../view.js";
import { t } from "../words.js";
import { plotName } from "../slate/names.js";

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

/** Which of the plots, where the session has several. */
export function WhichPlot({ hand, plot }) {
  const choices = hand.plots.map((one) => [one.plot, plotName(one)]);
  return choices.length > 1 && html`<${Select} label=${t("entry.head_plot")} value=${plot.value} set=${(one) => (plot.value = one)} choices=${choices} />`;
}

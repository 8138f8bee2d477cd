/** A counted plot's row: how many of a genotype are alive, dead, missing; and which part of the plot where buddies split it. */
import { COUNTED, omit } from "../row/row.js";
import { t } from "../words.js";
import { Key, html } from "../view.js";
import { Stepper } from "./panel.js";

const MOST_PARTS = 4;

export function Counts({ hand, line, values }) {
  const set = (name) => (many) => hand.enter(line, (now) => withCount(now, name, many), { typing: name });
  return html`
    <div class="tallies counts">
      ${COUNTED.map((name) => html`<${Stepper} key=${name} name=${name} label=${t(`entry.count_${name}`)} value=${values[name]} set=${set(name)} min="0" />`)}
      <${Part} hand=${hand} line=${line} values=${values} />
    </div>
  `;
}

function withCount(values, name, many) {
  const rest = omit(values, name, "searched");
  return many === undefined ? rest : { ...rest, [name]: many };
}

/** Buddies often split a plot; then each counts a part, and the parts are added up. */
function Part({ hand, line, values }) {
  const parts = Number(values.parts ?? 1);
  const part = Number(values.part ?? 1);
  const press = () => hand.enter(line, (now) => split(now, part, parts));
  const label = parts > 1 ? t("entry.part_of", { part, parts }) : t("entry.whole_plot");
  return html`<${Key} name=${`part ${part} ${parts}`} class="part" press=${press}>${label}<//>`;
}

/** Whole, 1 of 2, 2 of 2, 1 of 3 … and whole again. */
function split(values, part, parts) {
  const rest = omit(values, "part", "parts");
  const [next, of] = part < parts ? [part + 1, parts] : [1, parts + 1];
  return of > MOST_PARTS ? rest : { ...rest, part: String(next), parts: String(of) };
}

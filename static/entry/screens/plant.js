/**
 * Corals planted: a series of tags in one line, or how many of a genotype where a plot is counted. What is said of all of them is
 * said once, here; each is a row afterwards. Advice is shown before anything is written, and lets pass.
 */
import { useSignal } from "@preact/signals";
import { register } from "../page.js";
import { advice } from "../row/practice.js";
import { folded, readSeries } from "../row/series.js";
import { written } from "../row/number.js";
import { goInstead } from "../route.js";
import { t } from "../words.js";
import { Letters, html } from "../view.js";
import { Fields } from "../slate/panel.js";
import { genotypeName, plotName } from "../slate/names.js";
import { Select, WhichPlot } from "./select.js";
import { Top } from "./top.js";

export function Plant({ hand }) {
  const plot = useSignal(hand.line?.plot ?? hand.plots[0]?.plot);
  const [tags, position, count, chosen, genotype] = [useSignal(""), useSignal(""), useSignal(""), useSignal(""), useSignal("")];
  const values = useSignal({});
  const there = hand.plots.find((one) => one.plot === plot.value) ?? {};
  const lot = register.value.lots?.find((one) => one.lot === chosen.value);
  const otherwise = lot?.genotype ?? genotype.value;
  const isCounted = there.recorded_as === "counted";
  const { corals, faults = [] } = isCounted ? aGroup(count.value, otherwise) : aSeries(tags.value, position.value.trim(), otherwise);
  const n = corals.reduce((sum, { count = 1 }) => sum + Number(count), 0);
  const all = corals.map((coral) => ({ ...values.value, ...coral, ...(lot && { lot: lot.lot }) }));
  const add = async (event) => {
    event.preventDefault();
    if (n && (await hand.add(plot.value, all))) goInstead("slate", hand.session);
  };
  return html`
    <main class="more">
      <${Top} title=${t("entry.plant")} />
      <form class="field" onSubmit=${add}>
        <${WhichPlot} hand=${hand} plot=${plot} />
        ${isCounted
          ? html`<label>${t("entry.how_many")}<${Letters} text=${count} inputmode="numeric" /></label>`
          : html`
            <label>${t("programme.tags")}<${Letters} text=${tags} aria-describedby="series" /></label>
            <p class="help" id="series">${t("programme.help_tags")}</p>
            ${corals.length < 2 && html`<label>${t("entry.position_if_known")}<${Letters} text=${position} /></label>`}`}
        ${register.value.lots?.length > 0 && html`<${Select} label=${t("programme.kind_lot")} value=${chosen.value} set=${(one) => (chosen.value = one)} choices=${register.value.lots.map((one) => [one.lot, `${genotypeName(one.genotype)} · ${one.structure}`])} none=${t("programme.nothing_said")} />`}
        ${!lot && html`<${Select} label=${t("entry.genotype")} value=${genotype.value} set=${(one) => (genotype.value = one)} choices=${(register.value.genotypes ?? []).map((one) => [one.genotype, one.accession])} />`}
        <${Fields} protocol=${hand.protocol} of="coral" values=${values} />
        ${faults.map(({ key, data }) => html`<p class="warn" key=${key}>${t(key, data)}</p>`)}
        ${n > 0 && html`<${Look} hand=${hand} plot=${there} corals=${corals} n=${n} values=${values.value} lot=${lot} />`}
        <div class="keys"><button type="submit" class="key finish" disabled=${!n}>${t("entry.add_corals", { n })}</button></div>
      </form>
    </main>
  `;
}

/** What is typed for a counted plot. */
function aGroup(typed, genotype) {
  const count = written(typed);
  return { corals: genotype && /^[1-9]\d{0,4}$/.test(count) ? [{ genotype, count }] : [] };
}

/** A series of tags, or one coral by its place alone. */
function aSeries(tags, position, genotype) {
  if (!tags.trim()) return { corals: position && genotype ? [{ position, genotype }] : [] };
  const { tagged, faults } = readSeries(tags.normalize("NFC"), register.value.genotypes ?? [], genotype);
  const corals = position && tagged.length === 1 ? [{ ...tagged[0], position }] : tagged;
  return { corals: faults.length ? [] : corals, faults };
}

/** What would be written, and what should be looked at once more. */
function Look({ hand, plot, corals, n, values, lot }) {
  const own = hand.lines.value.filter((line) => line.kind === "planting");
  const many = (lines) => lines.reduce((sum, line) => sum + Number(line.planted ?? 1), 0);
  const standing = (plot.corals?.length ?? 0) + many(own.filter((line) => line.plot === plot.plot));
  const ready = lot?.ready - many(own.filter((line) => line.entry.value?.lot === lot?.lot));
  const found = advice({ tagged: corals, n, values, plot, standing, lot: lot && { ...lot, ready }, worn: wornBy(corals, own, hand) });
  const genotypes = [...new Set(corals.map(({ genotype }) => genotype))];
  return html`
    <div role="status">
      ${genotypes.map((id) => html`<p key=${id}>${genotypeName(id)}: <strong class="tag">${corals.filter(({ genotype }) => genotype === id).map(({ tag, position, count }) => tag ?? position ?? count).join(" ")}</strong></p>`)}
      ${found.map(({ key, data }) => html`<p class="warn" key=${`${key} ${data.tag}`}>${t(key, data)}</p>`)}
      ${found.length > 0 && html`<p>${t("programme.advice_only")}</p>`}
    </div>
  `;
}

/** Of each tag that a coral of the register or a row of this session wears already, the plots of those. */
function wornBy(corals, own, hand) {
  const tags = new Map(corals.filter(({ tag }) => tag).map(({ tag }) => [folded(tag), tag]));
  const known = register.value.plots.flatMap((plot) => (plot.corals ?? []).map(({ tag }) => ({ tag, plot })));
  const here = own.map(({ tag, plot }) => ({ tag, plot: hand.plots.find((one) => one.plot === plot) }));
  const worn = {};
  for (const { tag, plot } of [...known, ...here]) {
    const mine = tag && tags.get(folded(tag));
    if (mine) worn[mine] = [...(worn[mine] ?? []), plotName(plot)];
  }
  return worn;
}

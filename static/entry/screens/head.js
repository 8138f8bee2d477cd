/**
 * The head of a session: where, when, who. The day is the clock's until somebody says otherwise, and the key that begins names
 * it, so that pressing it confirms it; a clock that is half a day off is not believed. Everything else that a dive may record comes from the protocol.
 */
import { useSignal } from "@preact/signals";
import { attempt, device, isDayInDoubt, register, sessionOf, sessions } from "../page.js";
import { dayOf } from "../days.js";
import { howMany, isSecondAt } from "../repeats.js";
import { go, goInstead } from "../route.js";
import { fieldsOf, omit } from "../row/row.js";
import { day, list, said, t } from "../words.js";
import { Key, html } from "../view.js";
import { Fields } from "../slate/panel.js";
import { TakeOrPick } from "../slate/photos.js";
import { plotName } from "../slate/names.js";
import { Cautions } from "./cautions.js";
import { Select } from "./select.js";
import { Top } from "./top.js";

/** A new slate; of the plot that the address names, where a printed one was scanned. */
export function NewSlate({ session: named }) {
  const plot = register.value.plots.find((one) => one.plot === named);
  return html`<${Head} title=${t("entry.new_slate")} first=${plot ? { site: plot.site, plots: [plot.plot] } : {}} begin=${begin} />`;
}

/** A slate that is photographed now, and typed later by anyone. */
export function Photographed() {
  return html`<${Head} title=${t("entry.photograph_slate")} begin=${null} photographed=${true} />`;
}

/** A slate of another session typed from its picture: its recorder stays, whoever types is named too. */
export function TypeSlate({ session }) {
  const slate = (register.value.slates ?? []).find((one) => one.session === session) ?? sessionOf(session)?.head;
  if (!slate) return html`<${Head} title=${t("entry.new_slate")} begin=${begin} />`;
  const { protocol, site, plots, day: dived, recorder, buddy } = slate;
  const first = { protocol, site, plots, day: dived, recorder, buddy, types: session };
  return html`<${Head} title=${t("entry.type_slate")} first=${first} begin=${begin} types=${true} />`;
}

/** A second recorder goes on, in a session of their own. */
export function SecondRecorder({ session }) {
  const head = sessionOf(session)?.head ?? {};
  const first = { ...omit(head, "typed_by", "types", "note", "repeat"), recorder: head.buddy, buddy: head.recorder };
  return html`<${Head} title=${t("entry.second_recorder")} first=${first} begin=${begin} />`;
}

/** The head of a session that was begun. */
export function EditHead({ hand }) {
  const save = async (head) => (await hand.putHead(head)) && goInstead("slate", hand.session);
  return html`<${Head} title=${t("entry.head")} first=${hand.head.value} begin=${save} saves=${true} types=${Boolean(hand.head.value.types)} />`;
}

async function begin(head) {
  await attempt(async () => goInstead("slate", await device.startSession(head)));
}

function Head({ title, first = {}, begin, saves = false, types = false, photographed = false }) {
  const protocols = register.value.protocols.filter((one) => one.current);
  const today = dayOf(new Date());
  const head = useSignal({ ...likely(protocols, today), ...(isDayInDoubt.value ? {} : { day: today }), ...only(first) });
  const set = (name, value) => (head.value = value === undefined || value === "" ? omit(head.value, name) : { ...head.value, [name]: value });
  const protocol = register.value.protocols.find((one) => one.digest === head.value.protocol);
  const { site, plots = [], recorder, day: dived, practice } = head.value;
  const needed = { protocol, site, plot: plots.length > 0 || photographed, day: dived, recorder, typed_by: !types || head.value.typed_by };
  const again = saves || photographed ? 0 : takenAgain(protocol, plots, dived);
  const repeat = again > 0 && (head.value.repeat ?? (!types && sessions.value.some((one) => isSecondAt(head.value, one.head))));
  const told = Object.keys(needed).filter((name) => !needed[name]).map((name) => t(`entry.head_${name}`));
  return html`
    <main class="head">
      <${Top} title=${title} />
      ${!saves && html`<${Cautions} />`}
      ${protocols.length > 1 && html`<${Select} label=${t("entry.head_protocol")} value=${head.value.protocol} set=${(one) => set("protocol", one)} choices=${protocols.map((one) => [one.digest, said(one.title)])} />`}
      <${Select} label=${t("entry.head_site")} value=${site} set=${(one) => (head.value = { ...head.value, site: one, plots: [] })} choices=${register.value.sites.map((one) => [one.site, one.name])} />
      ${site && html`<${Plots} site=${site} chosen=${plots} set=${(next) => set("plots", next)} />`}
      <${Day} value=${dived} today=${today} set=${(one) => set("day", one)} />
      <${Person} name="recorder" value=${recorder} set=${(one) => set("recorder", one)} />
      ${types && html`<${Person} name="typed_by" value=${head.value.typed_by} set=${(one) => set("typed_by", one)} />`}
      <${Person} name="buddy" value=${head.value.buddy} set=${(one) => set("buddy", one)} />
      <label class="field">${t("entry.head_dive")}<input class="wide" inputmode="numeric" autocomplete="off" value=${head.value.dive ?? ""} onInput=${({ target }) => set("dive", target.value.trim())} /></label>
      ${!photographed && html`<${Measures} protocol=${protocol} head=${head} />`}
      <div class="keys">
        <${Key} name="practice" chosen=${practice === true} press=${() => set("practice", practice ? undefined : true)}>${t("entry.practice")}<//>
        ${again > 0 && html`<${Key} name="repeat" chosen=${repeat} press=${() => set("repeat", !repeat)}>${t("entry.second_look")} <small>${t("entry.second_look_means", { n: again })}</small><//>`}
      </div>
      ${told.length > 0 ? html`<p class="still">${t("entry.head_still", { what: list(told) })}</p>` : html`<${Go} ...${{ head: saves ? head.value : { ...omit(head.value, "repeat"), ...(repeat && { repeat }) }, begin, saves, photographed, plots }} />`}
    </main>
  `;
}

/** How many corals of the plots a second look takes again, where the protocol plans any. */
function takenAgain(protocol, plots, dived) {
  const chosen = register.value.plots.filter((one) => plots.includes(one.plot) && one.recorded_as !== "counted");
  return protocol?.blind_repeats && dived ? howMany(chosen, dived, protocol.blind_repeats) : 0;
}

/** What is probably the same as on the last dive; who dived only if that was today. */
function likely(protocols, today) {
  const last = sessions.value[0]?.head ?? {};
  const protocol = protocols.length === 1 ? protocols[0].digest : protocols.find((one) => one.digest === last.protocol)?.digest;
  const { site, recorder, buddy } = last.day === today ? last : {};
  return only({ protocol, site, recorder, buddy });
}

function only(values) {
  return Object.fromEntries(Object.entries(values).filter(([, value]) => value !== undefined));
}

/** The last key says the day aloud: whoever presses it has confirmed what the clock proposed. */
function Go({ head, begin, saves, photographed, plots }) {
  if (photographed) return html`<${TakeSlate} head=${head} />`;
  if (saves) return html`<div class="keys"><${Key} name="save" class="finish" press=${() => begin(head)}>${t("entry.save")}<//></div>`;
  const where = list(plots.map((id) => plotName(register.value.plots.find((plot) => plot.plot === id) ?? {})));
  return html`<div class="keys"><${Key} name="begin" class="finish" press=${() => begin(head)}>${t("entry.begin", { where, day: day(head.day) })}<//></div>`;
}

/** Photographing begins the session with its first picture; more pages of the slate may follow. */
function TakeSlate({ head }) {
  const session = useSignal(null);
  const many = useSignal(0);
  const taken = (file) => attempt(async () => {
    session.value ??= await device.startSession(head);
    await device.addPhoto(session.value, { view: "slate", file });
    many.value += 1;
  });
  return html`
    <p role="status">${many.value > 0 ? t("entry.slate_photographed", { n: many.value }) : t("entry.photograph_flat")}</p>
    <${TakeOrPick} taken=${taken} />
    ${many.value > 0 && html`<div class="keys"><${Key} name="done" class="finish" press=${() => go("home")}>${t("entry.done")}<//></div>`}
  `;
}

function Plots({ site, chosen, set }) {
  const plots = register.value.plots.filter((plot) => plot.site === site);
  const press = (plot) => set(chosen.includes(plot) ? chosen.filter((one) => one !== plot) : [...chosen, plot]);
  const many = (plot) => (plot.recorded_as === "counted" ? t("entry.genotypes", { n: plot.groups?.length ?? 0 }) : t("entry.corals", { n: plot.corals?.length ?? 0 }));
  return html`
    <fieldset class="field">
      <legend>${t("entry.head_plot")}</legend>
      <div class="keys">
        ${plots.map((plot) => html`<${Key} key=${plot.plot} name=${plot.plot} chosen=${chosen.includes(plot.plot)} press=${() => press(plot.plot)}>${plotName(plot)} <small>${many(plot)}</small><//>`)}
      </div>
    </fieldset>
  `;
}

function Day({ value, today, set }) {
  const yesterday = dayOf(new Date(new Date().setDate(new Date().getDate() - 1)));
  const future = value > today;
  return html`
    <fieldset class="field">
      <legend>${t("entry.head_day")}</legend>
      <div class="keys">
        ${[["today", today], ["yesterday", yesterday]].map(([name, one]) => html`<${Key} key=${name} name=${name} chosen=${value === one} press=${() => set(one)}>${t(`entry.${name}`)} <small>${day(one)}</small><//>`)}
        <${OtherDay} chosen=${Boolean(value) && value !== today && value !== yesterday} ...${{ value, today, set }} />
      </div>
      ${isDayInDoubt.value ? html`<p class="warn">${t("entry.day_in_doubt")}</p>` : future && html`<p class="warn">${t("entry.day_in_future", { day: day(value) })}</p>`}
    </fieldset>
  `;
}

/** The browser's own calendar, behind a key that writes the day as the page does. */
function OtherDay({ chosen, value, today, set }) {
  const open = ({ target }) => target.showPicker?.();
  return html`
    <label class=${`key date ${chosen ? "said" : ""}`}>${t("entry.other_day")}${chosen && html` <small>${day(value)}</small>`}
      <input type="date" max=${isDayInDoubt.value ? undefined : today} value=${value} onClick=${open} onInput=${({ target }) => target.value && set(target.value)} />
    </label>
  `;
}

/** Initials from the register or typed: a volunteer of today need not be known yet. */
function Person({ name, value, set }) {
  const people = register.value.people ?? [];
  const lists = `people-${name}`;
  return html`
    <label class="field">${t(`entry.head_${name}`)}
      <input class="wide" list=${lists} autocomplete="off" autocapitalize="characters" value=${value ?? ""} onInput=${({ target }) => set(target.value.trim())} />
      <datalist id=${lists}>${people.map((one) => html`<option key=${one.person} value=${one.initials ?? one.name}>${one.name}</option>`)}</datalist>
    </label>
  `;
}

/** What the protocol asks of the dive; none of it keeps anyone from beginning. */
function Measures({ protocol, head }) {
  if (!protocol || !fieldsOf(protocol, "head").length) return null;
  return html`
    <details class="measures">
      <summary>${t("entry.the_dive")}</summary>
      <${Fields} protocol=${protocol} of="head" values=${head} />
      <label class="field">${t("entry.note")}<textarea class="wide" rows="2" value=${head.value.note ?? ""} onInput=${({ target }) => (head.value = target.value.trim() ? { ...head.value, note: target.value } : omit(head.value, "note"))}></textarea></label>
    </details>
  `;
}

/** A field opened: its keys by its kind, its help and example picture from the protocol. Each change is stored as it is made. */
import { useEffect, useRef } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { faultOf, limits, offered, omit, put, stepOf } from "../row/row.js";
import { number, stepped, written } from "../row/number.js";
import { decimal, said, t, unit } from "../words.js";
import { Key, html } from "../view.js";

export function Panel({ hand, line, field, value, close }) {
  const enter = (next, how) => hand.enter(line, (now) => put(hand.protocol, line.of, now, field.name, next), how);
  return html`
    <${Opened} label=${said(field.label)} help=${said(field.help)} example=${field.example} close=${close}>
      <${Kind} field=${field} value=${value} enter=${enter} close=${close} />
    <//>
  `;
}

/** The frame of whatever is opened in a row: its name, a way out, help. */
export function Opened({ label, help, example, close, children }) {
  const way = useRef(null);
  useEffect(() => {
    way.current?.querySelector(".key")?.focus({ preventScroll: true });
  }, []);
  const escape = (event) => event.key === "Escape" && close();
  return html`
    <section class="opened" aria-label=${label} onKeyDown=${escape} ref=${way}>
      <header>
        <h3>${label}</h3>
        <${Key} name="close" class="plain" press=${close}>${t("entry.close_panel")}<//>
      </header>
      ${children}
      ${help && html`<p class="help">${help}</p>`}
      ${example && html`<img class="example" src=${`examples/${encodeURIComponent(example)}`} alt=${t("entry.example_of", { field: label })} onError=${({ target }) => (target.hidden = true)} />`}
    </section>
  `;
}

const KEYS_OF = { choice: Choice, choices: Choices, tally: Tally, percent: Percent, number: Figures, text: FreeText, flag: Flag };

/**
 * The keys of a field by its kind; the same on the slate and, `typed` there where numbers are few, on forms.
 */
function Kind({ field, value, enter, close, typed = false }) {
  const Keys = typed && field.kind === "number" ? Typed : KEYS_OF[field.kind];
  return html`<${Keys} field=${field} value=${value} enter=${enter} close=${close} />`;
}

/** Fields on a form, each in a frame of its own; what is said of them is kept in `values`, a signal, until the form is done with. */
export function Fields({ protocol, of, values }) {
  const enter = (field) => (value) => {
    if (value !== undefined && faultOf(field, value)) return false;
    values.value = put(protocol, of, values.value, field.name, value);
    return true;
  };
  return offered(protocol, of, values.value).map((field) => html`
    <fieldset class="field" key=${field.name}>
      <legend>${said(field.label)}</legend>
      <${Kind} typed=${true} field=${field} value=${values.value[field.name]} enter=${enter(field)} />
      ${field.help && html`<p class="help">${said(field.help)}</p>`}
    </fieldset>`);
}

function Choice({ field, value, enter, close }) {
  const press = (one) => (one === value ? enter(undefined) : enter(one, { then: close }));
  return html`<${Values} field=${field} isChosen=${(one) => one === value} press=${press} />`;
}

function Choices({ field, value = [], enter }) {
  const press = (one) => {
    const had = value.includes(one);
    const next = one === "none" ? [] : value.filter((other) => other !== "none" && other !== one);
    const chosen = had ? next : [...next, one];
    // In the order of the protocol, as the base keeps them.
    enter(chosen.length ? field.values.map((each) => each.value).filter((each) => chosen.includes(each)) : undefined);
  };
  return html`<${Values} field=${field} isChosen=${(one) => value.includes(one)} press=${press} />`;
}

function Flag({ field, value, enter, close }) {
  const values = ["yes", "no"].map((one) => ({ value: one, label: { [document.documentElement.lang]: t(`entry.${one}`) } }));
  return html`<${Choice} field=${{ ...field, values }} value=${value} enter=${enter} close=${close} />`;
}

function Values({ field, isChosen, press }) {
  return html`
    <div class="keys" role="group" aria-label=${said(field.label)}>
      ${field.values.map((one) => html`
        <${Key} key=${one.value} name=${`${field.name} ${one.value}`} chosen=${isChosen(one.value)} press=${() => press(one.value)}>
          ${one.code && html`<span class="code" aria-hidden="true">${one.code}</span>`}${said(one.label)}
        <//>`)}
    </div>
  `;
}

function Tally({ field, value = {}, enter }) {
  const set = (name, many) => enter(many === undefined ? omit(value, name) : { ...value, [name]: many });
  const none = () => enter(Object.fromEntries(field.values.map((one) => [one.value, "0"])));
  return html`
    <div class="tallies">
      ${field.values.map((one) => html`<${Stepper} key=${one.value} name=${`${field.name} ${one.value}`} label=${said(one.label)} value=${value[one.value]} set=${(many) => set(one.value, many)} step="1" min="0" />`)}
      <${Key} name=${`${field.name} none`} press=${none}>${t("entry.none_at_all")}<//>
    </div>
  `;
}

/**
 * What stands in a field while it is typed: each letter is stored, and what comes back from the disk of a letter before never
 * overtakes the ones after. A value that came from elsewhere, a key or undo, is shown.
 * @param {(text: string) => Promise<unknown> | unknown} store
 * @param {(text: string) => string | undefined} meant what a text is stored as
 * @returns {[import("@preact/signals").Signal<string>, (text: string) => Promise<void>]}
 */
function useTyped(value, store, meant) {
  const text = useSignal(value ?? "");
  const waiting = useRef(0);
  useEffect(() => {
    if (!waiting.current && meant(text.value) !== value) text.value = value ?? "";
  }, [value]);
  const type = async (next) => {
    text.value = next;
    waiting.current += 1;
    await store(next);
    waiting.current -= 1;
  };
  return [text, type];
}

const asText = (text) => (text.trim() ? text.normalize("NFC") : undefined);
/** A number in its one form; "12." is 12 until its decimals come. */
const asNumber = (text) => written(text.replace(/[.,]\s*$/, "")) ?? undefined;

/** A count: down, what it is, up. Down from 0 is "not looked at" again. */
export function Stepper({ name, label, value, set, min, max }) {
  const by = { step: "1", min, max, first: "1" };
  const down = () => set(value === undefined ? "0" : number(value) === 0 ? undefined : stepped(value, by, -1));
  const [text, type] = useTyped(value, (next) => /^\d{0,6}$/.test(next) && set(asNumber(next)), asNumber);
  return html`
    <div class="stepper" role="group" aria-label=${label}>
      <span class="label" aria-hidden="true">${label}</span>
      <${Key} name=${`${name} less`} press=${down} aria-label=${t("entry.less", { what: label })}>−<//>
      <input inputmode="numeric" autocomplete="off" value=${text.value} placeholder="–" onInput=${({ target }) => type(target.value)} aria-label=${label} />
      <${Key} name=${`${name} more`} press=${() => set(stepped(value, by, 1))} aria-label=${t("entry.one_more", { what: label })}>+<//>
    </div>
  `;
}

const SHARES = ["100", "95", "90", "80", "70", "60", "50", "40", "30", "20", "10", "5", "0"];

/** A share: the usual ones in one tap, the others typed or stepped. */
function Percent({ field, value, enter, close }) {
  const [min, max] = limits(field).map(Number);
  const shares = SHARES.filter((one) => Number(one) >= min && Number(one) <= max);
  const press = (one) => enter(one, { then: close });
  return html`
    <${Typed} field=${field} value=${value} enter=${enter} />
    <div class="keys shares" role="group" aria-label=${said(field.label)}>
      ${shares.map((one) => html`<${Key} key=${one} name=${`${field.name} ${one}`} chosen=${value === one} press=${() => press(one)}>${one}<//>`)}
    </div>
  `;
}

/** A number on keys of the page's own: those of the phone would cover half the slate and are too small for a wet thumb. */
function Figures({ field, value, enter }) {
  const fresh = useRef(true);
  const typing = useNumber(field, value, enter);
  const [text, type] = typing;
  const say = (next) => {
    fresh.current = false;
    type(next);
  };
  const press = (sign) => say(fresh.current && sign !== "." ? sign : text.value + sign);
  return html`
    <${Typed} field=${field} value=${value} enter=${enter} typing=${typing} />
    <div class="pad" role="group" aria-label=${t("entry.figures")}>
      ${["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0"].map((sign) => html`<${Key} key=${sign} name=${`figure ${sign} ${text.value}`} press=${() => press(sign)}>${sign === "." ? decimal(".") : sign}<//>`)}
      <${Key} name=${`figure back ${text.value}`} press=${() => say(text.value.slice(0, -1))} aria-label=${t("entry.rub_out")}>⌫<//>
    </div>
  `;
}

function useNumber(field, value, enter) {
  const store = (text) => (text.trim() && faultIn(field, text) ? false : enter(asNumber(text), { typing: field.name }));
  return useTyped(value, store, asNumber);
}

function faultIn(field, text) {
  return faultOf(field, asNumber(text) ?? text);
}

/** A number as typed, with its unit and + and - keys. What cannot be true is not stored, and the limits are said. */
export function Typed({ field, value, enter, typing }) {
  const own = useNumber(field, value, enter);
  const [text, type] = typing ?? own;
  const by = stepOf(field);
  const fault = text.value.trim() ? faultIn(field, text.value) : null;
  const step = (way) => enter(stepped(value, by, way));
  const label = said(field.label);
  const sign = field.kind === "percent" ? "%" : unit(field.unit);
  return html`
    <div class="stepper typed" role="group" aria-label=${label}>
      <${Key} name=${`${field.name} less`} press=${() => step(-1)} aria-label=${t("entry.less", { what: label })}>−<//>
      <input inputmode=${typing ? "none" : "decimal"} enterkeyhint="next" autocomplete="off" value=${text.value} placeholder="–" onInput=${({ target }) => type(target.value)}
        aria-label=${[label, sign].filter(Boolean).join(", ")} aria-invalid=${Boolean(fault)} />
      ${sign && html`<span class="unit" aria-hidden="true">${sign}</span>`}
      <${Key} name=${`${field.name} more`} press=${() => step(1)} aria-label=${t("entry.one_more", { what: label })}>+<//>
    </div>
    ${fault && html`<p class="warn" role="alert">${t(fault.key, fault.data)}</p>`}
  `;
}

function FreeText({ field, value, enter }) {
  const [text, type] = useTyped(value, (next) => enter(asText(next), { typing: field.name }), asText);
  return html`<input class="wide" autocomplete="off" value=${text.value} onInput=${({ target }) => type(target.value)} aria-label=${said(field.label)} />`;
}

export function Note({ hand, line, value, close }) {
  const area = useRef(null);
  useEffect(() => area.current?.focus({ preventScroll: true }), []);
  const noted = (now, note) => (note ? { ...now, note } : omit(now, "note"));
  const [text, type] = useTyped(value, (next) => hand.enter(line, (now) => noted(now, asText(next)), { typing: "note" }), asText);
  return html`
    <${Opened} label=${t("entry.note")} close=${close}>
      <textarea class="wide" rows="3" ref=${area} value=${text.value} onInput=${({ target }) => type(target.value)} aria-label=${t("entry.note")}></textarea>
    <//>
  `;
}

/** The row in hand: its tag large, what is entered so far in words, and the keys of what may be found. */
import { useEffect, useRef } from "preact/hooks";
import { doubts, isNotSearched, isSaid, lacking, notSearched, offered, omit, put, statusOf } from "../row/row.js";
import { inWords, valueInWords } from "../row/sentence.js";
import { day, said, t } from "../words.js";
import { Key, html } from "../view.js";
import { Counts } from "./counts.js";
import { Note, Panel } from "./panel.js";
import { RowPhotos } from "./photos.js";
import { TypedLine, hasKeyboard } from "./typed_line.js";
import { genotypeName, lineName } from "./names.js";
import { say } from "./say.js";

export function Line({ hand, line }) {
  const values = line.entry.value ?? {};
  const words = inWords(hand.protocol, line.of, line.entry.value, say);
  return html`
    <div class="in-hand" role="listitem" aria-current="true">
      <div class="who">
        <span class="sounding" aria-hidden="true">${line.number}</span>
        <h2><span class="unseen">${t("entry.row_number", { row: line.number })} </span><span class="tag">${lineName(line) || "–"}</span></h2>
        <p class="known">${known(line)}</p>
      </div>
      <p class="words" aria-live="off">${words || t("entry.state_unread")}</p>
      <${LastVisit} hand=${hand} line=${line} />
      <${Troubles} hand=${hand} line=${line} values=${values} />
      ${hasKeyboard.value && html`<${TypedLine} hand=${hand} line=${line} />`}
      <${Keys} hand=${hand} line=${line} values=${values} />
    </div>
  `;
}

function known(line) {
  const parts = [
    line.tag && line.position && t("entry.position", { position: line.position }),
    line.of === "coral" && genotypeName(line.genotype),
    line.planted && t("entry.planted_count", { n: Number(line.planted) }),
    !line.expected && line.kind === "observation" && t("entry.not_on_list"),
  ];
  return parts.filter(Boolean).join(" · ");
}

/**
 * Last time's condition, only where the protocol lets the recorder see it; never what somebody else saw on the same day, and
 * nothing of a coral that is taken again.
 */
function LastVisit({ hand, line }) {
  if (line.again) return html`<p class="last">${t("entry.again")}</p>`;
  if (hand.protocol.last_seen !== "shown" || !(line.last?.day < hand.head.value.day)) return null;
  const words = inWords(hand.protocol, line.of, line.last.values ?? {}, say);
  return html`<p class="last">${t("entry.last_visit", { day: day(line.last.day), words })}</p>`;
}

function Troubles({ hand, line, values }) {
  const missing = line.state.value === "incomplete" ? lacking(hand.protocol, line.of, values) : [];
  const odd = doubts(hand.protocol, values, line);
  const told = [...missing.map((field) => t("entry.still_to_say", { field: said(field.label) })), ...odd.map((key) => t(key))];
  return told.length > 0 && html`<p class="warn">${told.join(" ")}</p>`;
}

/** Alive, dead, missing: the protocol's values of condition, and beside them "not searched", which is none of them. */
function States({ hand, line, values }) {
  const status = statusOf(hand.protocol);
  if (!status) return null;
  const enter = (value) => hand.enter(line, (now) => put(hand.protocol, "coral", now, status.name, value === now[status.name] ? undefined : value));
  const skip = () => hand.enter(line, (now) => (isNotSearched(now) ? omit(now, "searched") : notSearched(now)));
  return html`
    <div class="keys states" role="group" aria-label=${said(status.label)}>
      ${status.values.map((one) => html`<${Key} key=${one.value} name=${`state ${one.value}`} chosen=${values[status.name] === one.value} press=${() => enter(one.value)}>${said(one.label)}<//>`)}
      <${Key} name="not searched" chosen=${isNotSearched(values)} press=${skip}>${t("entry.not_searched")}<//>
    </div>
  `;
}

/** The keys of the row; what is opened stands in their place, so that it has the room. */
function Keys({ hand, line, values }) {
  const open = hand.open.value;
  const keys = useRef(null);
  const came = useRef(null);
  // Whoever closes a panel by keyboard is put back on the key that opened it, but not where going on closed it.
  useEffect(() => {
    if (!open && came.current?.line === line) keys.current?.querySelector(`[data-opens="${came.current.open}"]`)?.focus({ preventScroll: true });
    came.current = open && { open, line };
  }, [open, line]);
  const close = () => (hand.open.value = null);
  const status = statusOf(hand.protocol);
  const fields = offered(hand.protocol, line.of, values).filter((field) => field !== status);
  const field = fields.find((one) => one.name === open);
  if (field) return html`<${Panel} hand=${hand} line=${line} field=${field} value=${values[field.name]} close=${close} />`;
  if (open === "note") return html`<${Note} hand=${hand} line=${line} value=${values.note} close=${close} />`;
  if (open === "photo") return html`<${RowPhotos} hand=${hand} line=${line} close=${close} />`;
  return html`
    <div ref=${keys}>
      ${line.of === "count" ? html`<${Counts} key=${line.key} hand=${hand} line=${line} values=${values} />` : html`<${States} hand=${hand} line=${line} values=${values} />`}
      <${Findings} hand=${hand} line=${line} values=${values} fields=${fields} />
    </div>
  `;
}

/** A key for each field that applies, in the order in which a diver looks. */
function Findings({ hand, line, values, fields }) {
  const photos = hand.photosOf(line).length;
  const key = (name, label, isSet, description) => html`
    <${Key} key=${name} name=${`open ${name}`} data-opens=${name} class=${isSet ? "said" : ""} press=${() => (hand.open.value = name)}>
      ${label}${description && html`<span class="unseen">: ${description}</span>`}
    <//>`;
  return html`
    <div class="keys findings" role="group" aria-label=${t("entry.findings")}>
      ${fields.map((one) => key(one.name, said(one.label), isSaid(values, one.name), isSaid(values, one.name) && valueInWords(one, values[one.name], say)))}
      ${key("note", t("entry.note"), Boolean(values.note), values.note)}
      ${key("photo", t("entry.photo"), photos > 0, photos > 0 && t("entry.with_photos", { n: photos }))}
    </div>
  `;
}

/**
 * The slate: one coral a row, in slate order. The row in hand is large and always at the same height, so that its keys stay
 * under the thumb; the others are folded to a line. Only the keys at the foot go on.
 */
import { useLayoutEffect, useRef } from "preact/hooks";
import { fieldsOf, isRead, mayBeAllWell, allWell } from "../row/row.js";
import { valueInWords } from "../row/sentence.js";
import { go, goInstead } from "../route.js";
import { day, said, t } from "../words.js";
import { Key, Title, html } from "../view.js";
import { Folded } from "./folded.js";
import { Line } from "./line.js";
import { SlatePicture } from "./picture.js";
import { plotName, siteName } from "./names.js";
import { say } from "./say.js";

const MOST_ABOVE_PX = 64; // of what stands above the row in hand, where the text is large
// Rows that the browser lays out and draws together, or not at all where none of them is in sight. Chosen: a phone shows ten;
// of three hundred drawn one by one it spends more on telling which are in sight than on drawing them.
const SHEET = 25;

export function Slate({ hand }) {
  return html`
    <main class="slate">
      <${SlateHead} hand=${hand} />
      <${SlatePicture} hand=${hand} />
      <${Lines} hand=${hand} />
      <${Foot} hand=${hand} />
      <p class="unseen" role="status">${hand.told}</p>
    </main>
  `;
}

/**
 * The rows, folded on sheets above and below the one in hand. That is the same element all along: going on changes what it says,
 * adds a row to the sheet above and takes one from the sheet below.
 */
function Lines({ hand }) {
  const list = useRef(null);
  const [lines, place, open] = [hand.lines.value, hand.at.value, hand.open.value];
  // One folded row stays in sight above, what was just entered and the way back to it, but where a panel needs the room.
  useLayoutEffect(() => {
    const held = list.current.querySelector("[aria-current]");
    if (!held) return;
    const above = held.previousElementSibling ?? held.parentElement.previousElementSibling;
    list.current.scrollTop = held.offsetTop - (open ? 0 : Math.min(above.lastElementChild?.offsetHeight ?? 0, MOST_ABOVE_PX));
  }, [place, open, lines]);
  const sheet = ([from, to]) => html`<${Sheet} key=${`${from < place ? "above" : "below"} ${Math.floor(from / SHEET)}`} hand=${hand} from=${from} to=${to} />`;
  return html`
    <div class="lines" ref=${list}>
      <div><${Meaning} protocol=${hand.protocol} /></div>
      ${lines[place] ? html`
        <div role="list">
          ${sheets(0, place).map(sheet)}
          <${Line} key="in hand" hand=${hand} line=${lines[place]} />
          ${sheets(place + 1, lines.length).map(sheet)}
        </div>` : html`<p>${t(hand.plants ? "entry.no_rows_planting" : "entry.no_rows")}</p>`}
    </div>
  `;
}

/** Where the sheets of a stretch begin and end. They are cut at the same places whichever row is in hand. */
function sheets(from, to) {
  if (from >= to) return [];
  const end = Math.min(to, (Math.floor(from / SHEET) + 1) * SHEET);
  return [[from, end], ...sheets(end, to)];
}

/** Reads the lines itself: a component that reads a signal is drawn anew only where that, or what it is given, has changed. */
function Sheet({ hand, from, to }) {
  const rows = hand.lines.value.slice(from, to).map((line, i) => html`<${Folded} key=${line.key} hand=${hand} line=${line} place=${from + i} />`);
  return html`<div class="sheet" style=${{ "--rows": to - from }}>${rows}</div>`;
}

function SlateHead({ hand }) {
  const { day: dived, site, recorder, practice, repeat } = hand.head.value;
  const { entered, all } = hand.counts.value;
  const plots = hand.plots.map((plot) => plotName(plot)).join(", ");
  return html`
    <header class="strip">
      <${Key} name="back" class="plain" press=${() => go("home")} aria-label=${t("entry.back_to_start")}>‹<//>
      <${Title}>
        <span class="where">${plots} <span class="site">${siteName(site)}</span></span>
        <span class="when">${day(dived)} · ${recorder}${practice ? ` · ${t("entry.practice_short")}` : ""}${repeat ? ` · ${t("entry.second_look")}` : ""}</span>
      <//>
      <p class="count"><span class="figure">${entered}</span> ${t("entry.of_all", { n: all })}</p>
      <${Key} name="more" class="plain" press=${() => go("more", hand.session)}>${t("entry.more")}<//>
    </header>
    <${Scale} entered=${entered} all=${all} />
  `;
}

/** The scale that runs along the edge of a chart, as long as the slate: dark as far as it is entered. */
function Scale({ entered, all }) {
  return html`<progress class="scale" max=${all || 1} value=${entered} aria-label=${t("entry.entered_so_far")}></progress>`;
}

/** What "nothing wrong seen" records, as the protocol has it. */
function Meaning({ protocol }) {
  const well = protocol.all_well ?? {};
  const told = fieldsOf(protocol, "coral").filter((field) => field.name in well);
  if (!told.length) return null;
  const words = told.map((field) => `${said(field.label)}: ${valueInWords(field, well[field.name], say)}`).join("; ");
  return html`<details><summary>${t("entry.what_all_well_means")}</summary><p>${words}.</p></details>`;
}

/** The keys that go on: at the foot, at the same place for every coral. */
function Foot({ hand }) {
  const line = hand.line;
  if (!line) return html`<footer class="foot"><${AddUnlisted} hand=${hand} /></footer>`;
  const values = line.entry.value ?? {};
  const finish = finishing(hand, line, values);
  return html`
    <footer class="foot">
      <${Key} name="undo" class="undo" press=${() => hand.undo()} disabled=${!hand.mayUndo.value}>${t("entry.undo")}<//>
      <${Key} name="next" class="skip" press=${() => goOn(hand, line)}>${t("entry.next")}<//>
      <${Key} name="finish" class="finish" press=${finish.press}>${finish.label}<//>
    </footer>
  `;
}

function AddUnlisted({ hand }) {
  return html`<${Key} name="unlisted" class="finish" press=${() => go("unlisted", hand.session)}>${t(hand.plants ? "entry.plant" : "entry.add_unlisted")}<//>`;
}

/** What the large key does with the row as it is, and says that it does. */
function finishing(hand, line, values) {
  if (hand.plants) return { label: t("entry.plant"), press: () => go("unlisted", hand.session) };
  const enter = (change) => () => hand.enter(line, change, { then: () => goOn(hand, line) });
  if (line.of === "count") {
    if (isRead(values)) return { label: t("entry.next_row"), press: () => goOn(hand, line) };
    const all = { alive: String(line.planted ?? 0), dead: "0", missing: "0" };
    return { label: t("entry.key_all_alive", { n: Number(line.planted ?? 0) }), press: enter((now) => ({ ...now, ...all })) };
  }
  if (line.kind !== "observation" || !mayBeAllWell(hand.protocol, values)) {
    return { label: t("entry.next_row"), press: () => goOn(hand, line) };
  }
  const key = isRead(values) ? "entry.key_else_well" : "entry.key_all_well";
  return { label: t(key), press: enter((now) => allWell(hand.protocol, now)) };
}

function goOn(hand, line) {
  const before = line.tag ?? line.position ?? "";
  if (!hand.goOn()) return goInstead("finish", hand.session);
  const next = hand.line;
  hand.told.value = t("entry.told_next", { before, coral: next.tag ?? next.position ?? "", row: next.number });
  return undefined;
}

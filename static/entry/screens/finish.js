/** After the last row: how many, one thing that is good to hear, and what is unread, doubtful or without a photo. It lets pass. */
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { attempt, device } from "../page.js";
import { pleasingFact } from "../fact.js";
import { statusOf } from "../row/row.js";
import { go, goInstead } from "../route.js";
import { day, decimal, t, unit } from "../words.js";
import { Key, Picture, html } from "../view.js";
import { Found } from "./more.js";
import { Top } from "./top.js";

export function Finish({ hand }) {
  const { entered, all, not_searched: unsearched } = hand.counts.value;
  const close = () => attempt(async () => {
    await device.closeSession(hand.session);
    go("hand_in");
  });
  return html`
    <main class="finish-screen">
      <${Top} title=${t("entry.finish")} back=${() => goInstead("slate", hand.session)} />
      <p class="total"><strong class="figure">${entered}</strong> ${t("entry.entered", { n: entered })}${unsearched > 0 && html` <span>${t("entry.of_these_unsearched", { n: unsearched })}</span>`}</p>
      ${entered > 0 && html`<${Fact} hand=${hand} />`}
      <${Rest} hand=${hand} title="entry.rest_unread" lines=${hand.lines.value.filter((line) => line.state.value === "unread")} all=${all} />
      <${Rest} hand=${hand} title="entry.rest_incomplete" lines=${hand.lines.value.filter((line) => line.state.value === "incomplete")} />
      <${Rest} hand=${hand} title="entry.rest_doubtful" lines=${hand.lines.value.filter((line) => line.state.value === "doubtful")} />
      <${Rest} hand=${hand} title="entry.rest_without_photo" lines=${withoutPhoto(hand)} />
      <div class="keys">
        <${Key} name="close" class="finish" press=${close}>${t("entry.close_session")}<//>
        <${Key} name="go on" press=${() => goInstead("slate", hand.session)}>${t("entry.go_on")}<//>
      </div>
    </main>
  `;
}

/** Those that were seen and have none, where anybody photographed corals at all on this dive. */
function withoutPhoto(hand) {
  const photographed = new Set(hand.photos.value.map((photo) => photo.row).filter(Boolean));
  if (!photographed.size) return [];
  const status = statusOf(hand.protocol)?.name;
  const seen = hand.lines.value.filter((line) => line.of === "coral" && line.entry.value?.[status] && line.entry.value[status] !== "missing");
  return seen.filter((line) => !photographed.has(line.row));
}

function Rest({ hand, title, lines }) {
  if (!lines.length) return null;
  const hold = (line) => {
    hand.hold(hand.lines.value.indexOf(line));
    goInstead("slate", hand.session);
  };
  return html`
    <details class="rest">
      <summary>${t(title, { n: lines.length })}</summary>
      <ul class="list">${lines.map((line) => html`<li key=${line.key}><${Found} hand=${hand} line=${line} press=${() => hold(line)} /></li>`)}</ul>
    </details>
  `;
}

function Fact({ hand }) {
  const lines = hand.lines.value.map((line) => ({ line, values: line.entry.value ?? {} }));
  const found = pleasingFact(lines, hand.protocol, hand.head.value.day);
  if (!found) return null;
  const { key, line, data } = found;
  const told = { ...data, gain: data.gain && decimal(data.gain), unit: unit(data.unit), since: day(data.since) };
  return html`
    <section class="fact" aria-label=${t("entry.fact")}>
      <p>${t(key, told)}</p>
      <${FirstAndNewest} hand=${hand} line=${line} />
    </section>
  `;
}

function FirstAndNewest({ hand, line }) {
  const taken = hand.photosOf(line).at(-1)?.photo;
  const shown = [["first", line.photos?.first], ["newest", taken ?? line.photos?.newest]].filter(([, photo]) => photo);
  const pairs = shown.length === 2 && shown[0][1] === shown[1][1] ? shown.slice(0, 1) : shown;
  return html`<div>${pairs.map(([name, photo]) => html`<${Then} key=${name} photo=${photo} label=${t(`entry.photo_${name}`)} />`)}</div>`;
}

/** A photo with its word beneath; nothing at all where it is neither here nor within reach. */
function Then({ photo, label }) {
  const blob = useSignal(null);
  useEffect(() => {
    Promise.resolve(device.smallPhoto(photo)).then((found) => (blob.value = found), () => (blob.value = null));
  }, [photo]);
  return blob.value ? html`<figure><${Picture} blob=${blob.value} alt=${label} /><figcaption>${label}</figcaption></figure>` : null;
}

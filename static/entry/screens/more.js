/** What is needed once a dive, not once a coral: finding a row, the head, photos of the slate, the end of the dive. */
import { useSignal } from "@preact/signals";
import { notSearched } from "../row/row.js";
import { found, nextUnread } from "../slate_order.js";
import { go, goInstead } from "../route.js";
import { inWords } from "../row/sentence.js";
import { t } from "../words.js";
import { Key, Letters, html } from "../view.js";
import { TakeOrPick, Thumbs } from "../slate/photos.js";
import { lineName } from "../slate/names.js";
import { say } from "../slate/say.js";
import { Plant } from "./plant.js";
import { WhichPlot } from "./select.js";
import { Top } from "./top.js";

const MOST_FOUND = 12;

export function More({ hand }) {
  return html`
    <main class="more">
      <${Top} title=${t("entry.more")} />
      <${Find} hand=${hand} />
      <ul class="list">
        <li><${Key} name="unlisted" press=${() => go("unlisted", hand.session)}>${t(hand.plants ? "entry.plant" : "entry.add_unlisted")}<//></li>
        <li><${Key} name="finish" press=${() => go("finish", hand.session)}>${t("entry.finish")}<//></li>
        <li><${EndDive} hand=${hand} /></li>
        <li><${Key} name="head" press=${() => go("head", hand.session)}>${t("entry.head")}<//></li>
        <li><${Key} name="second" press=${() => go("second", hand.session)}>${t("entry.second_recorder")}<//></li>
      </ul>
      <${SlatePhotos} hand=${hand} view="slate" title=${t("entry.paper_slate")} />
      <${SlatePhotos} hand=${hand} view="place" title=${t("entry.the_place")} />
    </main>
  `;
}

/** By tag, by row number, or the next that nobody read. */
function Find({ hand }) {
  const text = useSignal("");
  const places = found(hand.lines.value, text.value).slice(0, MOST_FOUND);
  const hold = (place) => {
    hand.hold(place);
    history.back();
  };
  const unread = nextUnread(hand.states.value, hand.at.value);
  return html`
    <form class="field" onSubmit=${(event) => { event.preventDefault(); if (places.length) hold(places[0]); }}>
      <label>${t("entry.find")}<${Letters} text=${text} type="search" enterkeyhint="search" /></label>
      <p role="status" class="help">${text.value && t("entry.found", { n: places.length })}</p>
      <ul class="list">${places.map((place) => html`<li key=${place}><${Found} hand=${hand} line=${hand.lines.value[place]} press=${() => hold(place)} /></li>`)}</ul>
      ${unread >= 0 && html`<${Key} name="unread" press=${() => hold(unread)}>${t("entry.next_unread", { row: hand.lines.value[unread].number, coral: lineName(hand.lines.value[unread]) })}<//>`}
    </form>
  `;
}

export function Found({ hand, line, press }) {
  const words = inWords(hand.protocol, line.of, line.entry.value, say) || t("entry.state_unread");
  return html`<${Key} name=${line.key} class="found" press=${press}><span class="sounding">${line.number}</span> <strong class="tag">${lineName(line)}</strong> <span>${words}</span><//>`;
}

/** The rest was not searched: said with the number of rows it means, and taken back by one undo. */
function EndDive({ hand }) {
  const from = hand.at.value;
  const rest = hand.states.value.filter((state, place) => place >= from && state === "unread").length;
  const press = async () => (await hand.endDive(from, notSearched)) && goInstead("finish", hand.session);
  return html`<${Key} name="dive ended" press=${press} disabled=${rest === 0}>${t("entry.dive_ended")} <small>${t("entry.dive_ended_means", { n: rest })}</small><//>`;
}

function SlatePhotos({ hand, view, title }) {
  const photos = hand.photos.value.filter((one) => one.view === view && !one.row);
  return html`
    <section>
      <h2>${title}</h2>
      <${TakeOrPick} taken=${(file) => hand.addPhoto(file, view, null)} />
      <${Thumbs} photos=${photos} of=${title} drop=${(photo) => hand.dropPhoto(photo)} />
    </section>
  `;
}

/** A coral that the slate does not list: its tag as it was read, unreadable signs as question marks. */
export function Unlisted({ hand }) {
  return hand.plants ? html`<${Plant} hand=${hand} />` : html`<${NotListed} hand=${hand} />`;
}

function NotListed({ hand }) {
  const tag = useSignal("");
  const position = useSignal("");
  const plot = useSignal((hand.line?.plot ?? hand.plots[0]?.plot));
  const add = async (event) => {
    event.preventDefault();
    const noted = { tag: tag.value.trim().normalize("NFC"), position: position.value.trim() };
    const values = Object.fromEntries(Object.entries(noted).filter(([, value]) => value));
    if (await hand.add(plot.value, [values])) goInstead("slate", hand.session);
  };
  const like = tag.value ? found(hand.lines.value, tag.value).slice(0, 3) : [];
  const ready = tag.value.trim() || position.value.trim();
  return html`
    <main class="more">
      <${Top} title=${t("entry.add_unlisted")} />
      <form class="field" onSubmit=${add}>
        <${WhichPlot} hand=${hand} plot=${plot} />
        <label>${t("entry.tag_as_read")}<${Letters} text=${tag} class="wide tag" enterkeyhint="done" /></label>
        <p class="help">${t("entry.tag_as_read_help")}</p>
        ${like.length > 0 && html`<p>${t("entry.tag_like")}</p><ul class="list">${like.map((place) => html`<li key=${place}><${Found} hand=${hand} line=${hand.lines.value[place]} press=${() => { hand.hold(place); goInstead("slate", hand.session); }} /></li>`)}</ul>`}
        <label>${t("entry.position_if_known")}<${Letters} text=${position} /></label>
        <div class="keys"><button type="submit" class="key finish" disabled=${!ready}>${t("entry.add")}</button></div>
      </form>
    </main>
  `;
}

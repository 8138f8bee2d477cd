/** The photos of a row, or of the slate and the place: taken with the camera or picked, any number; small copies beside. */
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { device } from "../page.js";
import { t } from "../words.js";
import { Key, Picture, html } from "../view.js";
import { Opened } from "./panel.js";
import { lineName } from "./names.js";

export function RowPhotos({ hand, line, close }) {
  const view = useSignal("whole");
  return html`
    <${Opened} label=${t("entry.photo")} close=${close}>
      <div class="keys" role="group" aria-label=${t("entry.photo_view")}>
        ${["whole", "close"].map((one) => html`<${Key} key=${one} name=${`view ${one}`} chosen=${view.value === one} press=${() => (view.value = one)}>${t(`entry.view_${one}`)}<//>`)}
      </div>
      <${TakeOrPick} taken=${(file) => hand.addPhoto(file, view.value, line)} />
      <${Thumbs} photos=${hand.photosOf(line)} of=${lineName(line)} drop=${(photo) => hand.dropPhoto(photo, line.row)} />
    <//>
  `;
}

/** Two keys, for the two ways that phones know: the camera gives one photo at a time, the gallery many. */
export function TakeOrPick({ taken }) {
  const take = async ({ target }) => {
    const files = [...target.files];
    target.value = "";
    for (const file of files) await taken(file);
  };
  return html`
    <div class="keys">
      <label class="key">${t("entry.take_photo")}<input class="unseen" type="file" accept="image/*" capture="environment" onChange=${take} /></label>
      <label class="key">${t("entry.pick_photos")}<input class="unseen" type="file" accept="image/*" multiple onChange=${take} /></label>
    </div>
  `;
}

export function Thumbs({ photos, of, drop }) {
  if (!photos.length) return null;
  return html`
    <ul class="thumbs">
      ${photos.map((one, i) => html`
        <li key=${one.photo}>
          <${Small} photo=${one.photo} alt=${t("entry.photo_of", { number: i + 1, what: of })} />
          <${Key} name=${`drop ${one.photo}`} class="plain" press=${() => drop(one.photo)} aria-label=${t("entry.drop_photo_of", { number: i + 1, what: of })}>${t("entry.drop_photo")}<//>
        </li>`)}
    </ul>
  `;
}

/** The small copy of a photo: from this device, else from the base where one answers. */
export function Small({ photo, alt }) {
  const blob = useSignal(null);
  useEffect(() => {
    Promise.resolve(device.smallPhoto(photo)).then((found) => (blob.value = found), () => (blob.value = null));
  }, [photo]);
  return blob.value ? html`<${Picture} blob=${blob.value} alt=${alt} />` : html`<span class="no-picture">${alt}</span>`;
}

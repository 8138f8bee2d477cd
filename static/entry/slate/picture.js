/** The photographed slate that is typed here, above its rows: as large as it takes to read the handwriting. */
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { device, register } from "../page.js";
import { t } from "../words.js";
import { Key, Picture, html } from "../view.js";

const SIZES = [1, 1.5, 2.25, 3.4];

export function SlatePicture({ hand }) {
  const size = useSignal(0);
  const which = useSignal(0);
  const blob = useSignal(null);
  const { types } = hand.head.value;
  const here = (types ? hand.pictures : hand.photos.value).filter((photo) => photo.view === "slate").map(({ photo }) => photo);
  const photos = register.value.slates?.find((one) => one.session === types)?.photos ?? here;
  const shown = photos[which.value];
  useEffect(() => {
    if (shown) Promise.resolve(device.picture(shown)).then((found) => (blob.value = found), () => (blob.value = null));
  }, [shown]);
  if (!photos.length) return null;
  const label = t("entry.picture_of_slate", { number: which.value + 1, n: photos.length });
  return html`
    <section class="paper-slate" aria-label=${t("entry.paper_slate")}>
      <div class="view" tabindex="0" role="region" aria-label=${label}>
        ${blob.value ? html`<${Picture} blob=${blob.value} alt=${label} style=${{ width: `${SIZES[size.value] * 100}%` }} />` : html`<p>${t("entry.picture_not_here")}</p>`}
      </div>
      <div class="keys">
        <${Key} name="smaller" press=${() => (size.value = Math.max(0, size.value - 1))} aria-label=${t("entry.smaller")}>−<//>
        <${Key} name="larger" press=${() => (size.value = Math.min(SIZES.length - 1, size.value + 1))} aria-label=${t("entry.larger")}>+<//>
        ${photos.length > 1 && html`<${Key} name="other picture" press=${() => (which.value = (which.value + 1) % photos.length)}>${t("entry.next_picture")}<//>`}
      </div>
    </section>
  `;
}

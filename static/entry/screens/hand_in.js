/** Handing in: notes at once, photos after them or on a tap; where the base is; and the carry file, where no base is in reach. */
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { DAY_IN_DOUBT_MS, attempt, counted, device, errorInWords, onlyHere, pairing, progress, renew, sessions } from "../page.js";
import { go } from "../route.js";
import { photosWaitFor } from "../waits.js";
import { day, figure, size, t } from "../words.js";
import { Key, Letters, html } from "../view.js";
import { siteName } from "../slate/names.js";
import { isOnHomeScreen } from "./steps.js";
import { Top } from "./top.js";

const CLOCK_OFF_MS = 2 * 60_000; // chosen: less than that is no more than a link's delay and a clock set by hand

export function HandIn() {
  const told = useSignal(null);
  const busy = useSignal(false);
  const waits = useSignal(null);
  const isCounted = useSignal(false);
  const run = (photos) => attempt(async () => {
    busy.value = true;
    told.value = null;
    const lock = await stayAwake();
    try {
      told.value = await device.handIn({ photos });
      if (!told.value.error) await device.refreshRegister();
    } finally {
      lock?.release();
      busy.value = false;
      await renew();
    }
  });
  const begin = async () => {
    waits.value = photosWaitFor(await navigator.getBattery?.(), navigator.connection);
    await run(waits.value === null);
  };
  // Whoever came here to hand in has pressed a key for it already; what was entered just before may not be counted yet.
  useEffect(() => {
    attempt(async () => {
      await renew();
      isCounted.value = true;
      if (pairing.value && onlyHere.value.entries + onlyHere.value.photos > 0) await begin();
    });
  }, []);
  const { rows_on_base, photos, bytes } = onlyHere.value;
  return html`
    <main class="hand-in">
      <${Top} title=${t("entry.hand_in")} back=${() => go("home")} label=${t("entry.back_to_start")} />
      <p class="total" role="status">${isCounted.value && (counted.value.n + photos > 0 ? here(photos, bytes) : t("entry.all_on_base", { n: rows_on_base }))}</p>
      <${Progress} busy=${busy.value && !told.value} />
      <${Told} told=${told.value} />
      ${pairing.value
        ? html`
          <div class="keys">
            <${Key} name="hand in" class="finish" press=${begin} disabled=${busy.value}>${t(told.value?.error ? "entry.try_again" : "entry.hand_in")}<//>
            ${photos > 0 && html`<${Key} name="photos" press=${() => run(true)} disabled=${busy.value}>${t("entry.hand_in_photos", { n: photos, size: size(bytes) })}<//>`}
          </div>
          ${waits.value && photos > 0 && html`<p>${t(`entry.photos_wait_${waits.value}`)}</p>`}`
        : html`<p class="warn">${t("entry.not_paired")}</p><div class="keys"><${Key} name="pair" class="finish" press=${() => go("pair")}>${t("entry.pair")}<//></div>`}
      ${pairing.value && html`<${Elsewhere} run=${begin} />`}
      <${Carry} />
    </main>
  `;
}

function here(photos, bytes) {
  const { n, of } = counted.value;
  const notes = t(`entry.here_${of}`, { n });
  return photos ? t("entry.and_photos_here", { notes, n: photos, size: size(bytes) }) : notes;
}

/** The screen stays on while the base takes in; a phone that sleeps stops sending. */
async function stayAwake() {
  return navigator.wakeLock?.request("screen").catch(() => null);
}

function Progress({ busy }) {
  const now = progress.value;
  if (!busy) return null;
  if (!now) return html`<p role="status">${t("entry.looking_for_base")}</p>`;
  const { stage, done, total, bytes_done: sent, bytes_total: all } = now;
  const label = stage === "photos" ? t("entry.sending_photos", { done, n: total, sent: size(sent ?? 0), size: size(all ?? 0) }) : t("entry.sending_notes", { done, n: total });
  return html`<p>${label}</p><progress class="bar" max=${stage === "photos" ? all || 1 : total || 1} value=${stage === "photos" ? sent : done} aria-label=${label}></progress>`;
}

/** What came of it, whole: what the base holds, what it would not take, and whether the clocks differ. */
function Told({ told }) {
  if (!told) return null;
  const { entries, photos, error, clock_off_ms: off, forked } = told;
  const refused = sessions.value.flatMap((one) => one.refused);
  const isFar = Math.abs(off) >= DAY_IN_DOUBT_MS;
  return html`
    <div role="status">
      ${error ? html`<p class="warn">${errorInWords({ code: error.code, data: error, message: error.code })}</p>` : html`<p class="safe">${t("entry.handed_in", { n: entries.held })}${photos.sent > 0 && ` ${t("entry.photos_handed_in", { n: photos.sent })}`}</p>`}
      ${forked.length > 0 && html`<p>${t("entry.continued_anew", { n: forked.length })}</p>`}
      ${refused.map((one) => html`<p class="warn" key=${one.digest}>${t("entry.refused", { why: one.detail || one.why })}</p>`)}
      ${Math.abs(off) >= CLOCK_OFF_MS && html`<p class="warn">${t(isFar ? "entry.clock_far_off" : "entry.clock_off", { n: Math.round(Math.abs(off) / 60_000) })}</p>`}
      ${isFar && html`<ul class="list">${sessions.value.map((one) => html`<li key=${one.session}><${Key} name=${one.session} press=${() => go("head", one.session)}>${t("entry.check_day", { where: siteName(one.head.site), day: day(one.head.day) })}<//></li>`)}</ul>`}
    </div>
  `;
}

/** The base may have another address today: the one that its screen shows can be typed. */
function Elsewhere({ run }) {
  const text = useSignal("");
  const add = (event) => {
    event.preventDefault();
    attempt(async () => {
      await device.addAddress(text.value);
      text.value = "";
      await run();
    });
  };
  return html`
    <details>
      <summary>${t("entry.base_elsewhere")}</summary>
      <form class="field" onSubmit=${add}>
        <label>${t("entry.address")}<${Letters} text=${text} autocapitalize="none" inputmode="url" /></label>
        <p class="help">${t("entry.address_help")}</p>
        <button type="submit" class="key" disabled=${!text.value.trim()}>${t("entry.try_address")}</button>
      </form>
    </details>
  `;
}

/** A file that holds what is only here. It is made first, since sharing needs a fresh tap with the bytes at hand. */
function Carry() {
  const made = useSignal(null);
  const said = useSignal("");
  const make = () => attempt(async () => (made.value = await device.carryFile()));
  const share = () => navigator.share({ files: [made.value.file] }).then(
    () => (said.value = t("entry.carry_shared")),
    (error) => (said.value = error.name === "AbortError" ? t("entry.carry_not_shared") : t("entry.carry_share_again")),
  );
  const save = () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(made.value.file);
    link.download = made.value.file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
    said.value = t("entry.carry_saved", { name: made.value.file.name });
  };
  const mayShare = made.value && navigator.canShare?.({ files: [made.value.file] });
  // In an app on the home screen of an iPhone a download opens a view without a way back (WebKit bug 236943): share there.
  const maySave = !(mayShare && isOnHomeScreen() && navigator.standalone === true);
  return html`
    <details class="carry">
      <summary>${t("entry.carry_file")}</summary>
      <p>${t("entry.carry_file_means")}</p>
      ${made.value === null
        ? html`<${Key} name="make carry file" press=${make}>${t("entry.make_carry_file")}<//>`
        : html`
          <p>${t("entry.carry_file_made", { n: made.value.entries, photos: figure(made.value.photos), size: size(made.value.file.size) })}${made.value.left > 0 && ` ${t("entry.carry_left", { n: made.value.left })}`}</p>
          <div class="keys">
            ${maySave && html`<${Key} name="save carry file" press=${save}>${t("entry.save_file")}<//>`}
            ${mayShare && html`<${Key} name="share carry file" press=${share}>${t("entry.share_file")}<//>`}
          </div>`}
      <p role="status">${said.value}</p>
    </details>
  `;
}

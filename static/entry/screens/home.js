/** The first screen: what is only here, which slates wait to be typed, and where to begin. */
import { counted, onlyHere, pairing, register, sessions, trouble } from "../page.js";
import { go } from "../route.js";
import { LANGUAGES, choose, day, language, size, t } from "../words.js";
import { Key, Title, html } from "../view.js";
import { plotName, siteName } from "../slate/names.js";
import { Cautions } from "./cautions.js";
import { Steps, isReady } from "./steps.js";
import { Versions } from "./versions.js";

export function Home() {
  const programme = pairing.value?.programme_name ?? register.value?.programme_name;
  return html`
    <main class="home">
      <header class="strip"><${Title}>${programme ?? t("entry.title")}<//><${Languages} /></header>
      <${DeviceTroubles} />
      <${OnlyHere} />
      <${ToType} />
      <${Begin} />
      <${Sessions} />
      <${ThisDevice} />
      <${Cautions} />
      <${Versions} />
    </main>
  `;
}

function Languages() {
  return html`
    <nav class="languages" aria-label=${t("entry.language")}>
      ${Object.entries(LANGUAGES).map(([tag, name]) => html`<${Key} key=${tag} name=${tag} class="plain" lang=${tag} chosen=${language.value === tag} press=${() => choose(tag)}>${name}<//>`)}
    </nav>
  `;
}

function DeviceTroubles() {
  return trouble.value && html`<p class="warn" role="alert">${t(`entry.trouble_${trouble.value.what}`)}</p>`;
}

/** What would be lost with this device, in large figures, and the ways to bring it to safety. */
function OnlyHere() {
  const { rows_on_base, photos, bytes } = onlyHere.value;
  const { n, of } = counted.value;
  if (n + photos === 0) return sessions.value.length ? html`<p class="safe">${t("entry.all_on_base", { n: rows_on_base })}</p>` : null;
  return html`
    <section class="only-here" aria-label=${t("entry.only_here")}>
      <p><strong class="figure">${n}</strong> ${t(`entry.only_here_${of}`, { n })}${photos > 0 && html`, <strong class="figure">${photos}</strong> ${t("entry.only_here_photos", { n: photos, size: size(bytes) })}`}</p>
      <div class="keys"><${Key} name="hand in" class="finish" press=${() => go("hand_in")}>${t("entry.hand_in")}<//></div>
    </section>
  `;
}

/** Slates that were photographed and not typed yet, those of this device and those the base knows of. */
function ToType() {
  const typed = new Set(sessions.value.map((one) => one.head.types));
  const here = sessions.value.filter((one) => one.photos > 0 && one.rows === 0 && one.on_base < one.total).map(({ session, head }) => ({ session, ...head }));
  const there = (register.value?.slates ?? []).filter((one) => !here.some((own) => own.session === one.session));
  const all = [...here, ...there].filter((one) => !typed.has(one.session));
  if (!all.length) return null;
  const label = ({ site, day: dived, recorder }) => [siteName(site), day(dived), recorder].filter(Boolean).join(" · ");
  return html`
    <section>
      <h2>${t("entry.slates_to_type")}</h2>
      <ul class="list">
        ${all.map((one) => html`<li key=${one.session}><${Key} name=${one.session} press=${() => go("type", one.session)}>${label(one)}<//></li>`)}
      </ul>
    </section>
  `;
}

function Begin() {
  if (!register.value) {
    return html`
      <section>
        <h2>${t("entry.nothing_known")}</h2>
        <p>${t("entry.nothing_known_advice")}</p>
        <div class="keys"><${Key} name="pair" class="finish" press=${() => go("pair")}>${t("entry.pair")}<//></div>
      </section>`;
  }
  return html`
    <section>
      <div class="keys begin">
        <${Key} name="new" class="finish" press=${() => go("new")}>${t("entry.new_slate")}<//>
        <${Key} name="photographed" press=${() => go("photographed")}>${t("entry.photograph_slate")}<//>
      </div>
    </section>
  `;
}

function Sessions() {
  if (!sessions.value.length) return null;
  return html`
    <section>
      <h2>${t("entry.sessions")}</h2>
      <ul class="list">${sessions.value.map((one) => html`<${Session} key=${one.session} session=${one} />`)}</ul>
    </section>
  `;
}

function Session({ session: { session, head, rows, total, on_base, photos, photos_on_base, refused } }) {
  const plots = (head.plots ?? []).map((id) => register.value?.plots.find((plot) => plot.plot === id)).filter(Boolean).map(plotName);
  const where = total > on_base ? t("entry.session_here") : total > 0 ? t("entry.session_on_base") : t("entry.session_empty");
  return html`
    <li>
      <${Key} name=${session} class="session" press=${() => go("slate", session)}>
        <strong>${[siteName(head.site), plots.join(", ")].filter(Boolean).join(", ")}</strong>
        <span>${day(head.day)} · ${head.recorder}${head.practice ? ` · ${t("entry.practice_short")}` : ""}</span>
        <span>${t("entry.rows", { n: rows })} · ${where}${photos > photos_on_base ? ` · ${t("entry.photos_here", { n: photos - photos_on_base })}` : ""}</span>
      <//>
      ${refused.map((one) => html`<p class="warn" key=${one.digest}>${t("entry.refused", { why: one.detail ?? one.why })}</p>`)}
    </li>
  `;
}

/** Folded once everything is in order. */
function ThisDevice() {
  return html`<details class="device" open=${!isReady()}><summary>${t("entry.this_device")}</summary><${Steps} /></details>`;
}

/** The way to a device that can be trusted with notes, each step looked at by the page itself. */
import { device, means, pairing, reached, renew, attempt } from "../page.js";
import { t } from "../words.js";
import { Key, html } from "../view.js";
import { worker } from "../update.js";

const APPLE = /iPhone|iPad|iPod/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);
const ANDROID = /Android/.test(navigator.userAgent);

/** Opened from its own icon. On an iPhone only what is kept there lasts. */
export function isOnHomeScreen() {
  return navigator.standalone === true || matchMedia("(display-mode: standalone)").matches;
}

function steps() {
  const able = means.value;
  return [
    { name: "secure", done: Boolean(able.secure) },
    { name: "offline", done: Boolean(able.secure && worker.value.ready) },
    { name: "home", done: isOnHomeScreen(), optional: !APPLE },
    { name: "paired", done: Boolean(pairing.value) },
    { name: "kept", done: able.persisted === true, optional: true },
  ];
}

export function isReady() {
  return steps().every((step) => step.done || step.optional);
}

export function Steps() {
  return html`
    <ol class="steps">
      ${steps().map((step) => html`<li key=${step.name} class=${step.done ? "done" : "open"}><${Step} step=${step} /></li>`)}
    </ol>
    ${pairing.value && html`<p>${t("entry.paired_as", { name: pairing.value.name, programme: pairing.value.programme_name })}</p>`}
    <${Base} />
  `;
}

const HOW = {
  secure: { apple: "entry.how_secure_apple", android: "entry.how_secure_android", other: "entry.how_secure_other" },
  home: { apple: "entry.how_home_apple", android: "entry.how_home_android", other: "entry.how_home_other" },
  offline: { other: "entry.how_offline" },
  paired: { other: "entry.how_paired" },
  kept: { other: "entry.how_kept" },
};

function Step({ step: { name, done } }) {
  const system = APPLE ? "apple" : ANDROID ? "android" : "other";
  return html`
    <p><span class="mark">${done ? t("entry.step_done") : t("entry.step_open")}</span> ${t(`entry.step_${name}`)}</p>
    ${!done && html`<p class="how">${t(HOW[name][system] ?? HOW[name].other)}</p>`}
    ${!done && name === "kept" && means.value.secure && html`<${Key} name="persist" press=${() => attempt(async () => { await device.askToPersist(); await renew(); })}>${t("entry.ask_to_keep")}<//>`}
  `;
}

function Base() {
  const look = () => attempt(async () => {
    reached.value = undefined;
    reached.value = await device.reach();
    if (reached.value) await device.refreshRegister();
    await renew();
  });
  if (!pairing.value) return null;
  const found = reached.value;
  return html`
    <p role="status">${found ? t("entry.base_reached", { address: found.address }) : found === null ? t("entry.base_not_reached") : ""}</p>
    <div class="keys"><${Key} name="look" press=${look}>${t("entry.look_for_base")}<//></div>
  `;
}

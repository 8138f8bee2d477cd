/** Pairing: the one-time code from the base's screen, and what this device is called. The steps to trust stand beside. */
import { useSignal } from "@preact/signals";
import { attempt, device, pairing, renew } from "../page.js";
import { goInstead, place } from "../route.js";
import { t } from "../words.js";
import { Letters, html } from "../view.js";
import { Steps } from "./steps.js";
import { Top } from "./top.js";

export function Pair() {
  const code = useSignal(place.value.session ?? ""); // in the address, where a QR code of the base led here
  const name = useSignal(pairing.value?.name ?? "");
  const address = useSignal("");
  const busy = useSignal(false);
  const pair = async (event) => {
    event.preventDefault();
    busy.value = true;
    const given = { code: code.value.trim(), name: name.value.trim(), ...(address.value.trim() && { address: address.value.trim() }) };
    const done = await attempt(async () => {
      await device.pair(given);
      device.askToPersist(); // some browsers ask the person, whose answer may come later
      await device.refreshRegister();
      await renew();
    });
    busy.value = false;
    if (done) goInstead("home");
  };
  return html`
    <main class="pair">
      <${Top} title=${t("entry.pair")} />
      <form class="field" onSubmit=${pair}>
        <label>${t("entry.pair_code")}<${Letters} text=${code} class="wide tag" autocomplete="one-time-code" required /></label>
        <p class="help">${t("entry.pair_code_help")}</p>
        <label>${t("entry.device_name")}<${Letters} text=${name} autocapitalize="sentences" required maxlength="60" /></label>
        <p class="help">${t("entry.device_name_help")}</p>
        <details><summary>${t("entry.base_elsewhere")}</summary>
          <label>${t("entry.address")}<${Letters} text=${address} autocapitalize="none" inputmode="url" /></label>
          <p class="help">${t("entry.address_help")}</p>
        </details>
        <div class="keys"><button type="submit" class="key finish" disabled=${busy.value || !code.value.trim() || !name.value.trim()}>${t("entry.pair")}</button></div>
      </form>
      <section><h2>${t("entry.this_device")}</h2><${Steps} /></section>
    </main>
  `;
}

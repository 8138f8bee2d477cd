/**
 * Tells truly whether this device trusts the base: by asking it something over TLS. What a page cannot see is why it fails, whether
 * trust is missing or the network is; so only a success is taken as an answer.
 */

const PATIENCE_MS = 4000;
const AGAIN_MS = 3000;

const check = document.querySelector("[data-origins]");
const goOn = check.querySelector("a");

/** @param {string} state */
function show(state) {
  check.querySelectorAll("[data-state]").forEach((part) => {
    part.hidden = part.dataset.state !== state;
  });
}

/**
 * @param {string} origin
 * @returns {Promise<boolean>} whether the base answers there, and this device believes that it is the base
 */
async function isTrusted(origin) {
  try {
    const answer = await fetch(`${origin}/api/v1/hello`, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    return answer.ok && (await answer.json()).base === check.dataset.base;
  } catch {
    return false;
  }
}

async function look() {
  const origins = check.dataset.origins.split(" ");
  const found = await Promise.all(origins.map(isTrusted));
  const first = origins[found.indexOf(true)];
  if (first) {
    goOn.href = `${first}/enter${location.hash}`; // the pairing code in the QR code goes along; it is not sent over the network
    show("trusted");
  } else {
    show("unknown");
    setTimeout(look, AGAIN_MS);
  }
}

const system = /iPhone|iPad/.test(navigator.userAgent)
  ? "ios"
  : /Android/.test(navigator.userAgent)
    ? /Firefox/.test(navigator.userAgent) ? "firefox" : "android"
    : /Windows/.test(navigator.userAgent) ? "windows" : /Mac/.test(navigator.userAgent) ? "macos" : "";
document.querySelector(`details[data-system="${system}"]`)?.setAttribute("open", "");
look();

/** Which screen is open: `#slate/SESSION` and so on, so that reload and the back key of the phone do what they say. */
import { signal } from "@preact/signals";

export const place = signal(parsed());

addEventListener("hashchange", () => {
  place.value = parsed();
});

/** @returns {{screen: string, session?: string}} */
function parsed() {
  const [screen, session] = location.hash.slice(1).split("/");
  return { screen: screen || "home", session };
}

export function go(screen, session) {
  location.hash = [screen === "home" ? "" : screen, session].filter(Boolean).join("/");
}

/** As `go`, without a step to go back to: for a screen that is done with. */
export function goInstead(screen, session) {
  const hash = [screen === "home" ? "" : screen, session].filter(Boolean).join("/");
  history.replaceState(null, "", `#${hash}`);
  place.value = parsed();
}

/** The page: learn the words, open the device, draw the screen that the address names. */
import { render } from "preact";
import { useEffect } from "preact/hooks";
import { useSignal } from "@preact/signals";
import { takeInHand } from "./in_hand.js";
import { follow, register } from "./page.js";
import { goInstead, place } from "./route.js";
import { keepUp } from "./update.js";
import { language, learnt, t } from "./words.js";
import { html } from "./view.js";
import { Strip } from "./strip.js";
import { Slate } from "./slate/slate.js";
import { Finish } from "./screens/finish.js";
import { HandIn } from "./screens/hand_in.js";
import { EditHead, NewSlate, Photographed, SecondRecorder, TypeSlate } from "./screens/head.js";
import { Home } from "./screens/home.js";
import { More, Unlisted } from "./screens/more.js";
import { Pair } from "./screens/pair.js";

const OF_DEVICE = { home: Home, hand_in: HandIn, pair: Pair };
const OF_REGISTER = { new: NewSlate, photographed: Photographed, type: TypeSlate, second: SecondRecorder };
const OF_SESSION = { slate: Slate, more: More, unlisted: Unlisted, finish: Finish, head: EditHead };

function Page() {
  const { screen, session } = place.value;
  return html`<${Shown} key=${`${screen} ${session} ${language.value}`} screen=${screen} session=${session} /><${Strip} />`;
}

function Shown({ screen, session }) {
  useEffect(() => {
    document.title = t("entry.title");
    scrollTo(0, 0);
  }, []);
  const Found = OF_DEVICE[screen] ?? (register.value ? OF_REGISTER[screen] : undefined);
  if (Found) return html`<${Found} session=${session} />`;
  if (OF_SESSION[screen] && register.value) return html`<${HeldSession} screen=${screen} session=${session} />`;
  goInstead("home");
  return null;
}

/** The session in hand stays in hand from one of its screens to the next. */
let inHand = null;

function HeldSession({ screen, session }) {
  const hand = useSignal(inHand?.session === session ? inHand : null);
  useEffect(() => {
    if (hand.value) return;
    takeInHand(session).then((taken) => {
      if (!taken) return goInstead("home");
      inHand = taken;
      hand.value = taken;
      return undefined;
    });
  }, [session]);
  return hand.value ? html`<${OF_SESSION[screen]} hand=${hand.value} />` : html`<main aria-busy="true"></main>`;
}

await Promise.all([learnt, follow()]);
const root = document.getElementById("page");
root.replaceChildren();
render(html`<${Page} />`, root);
performance.mark("drawn");
keepUp();

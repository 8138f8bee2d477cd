/** On a laptop: the row typed as it is written on the slate. What is understood is said before `Enter` stores it and goes on. */
import { useEffect, useRef } from "preact/hooks";
import { signal, useSignal } from "@preact/signals";
import { shortName, typed, typedCounts } from "../row/codes.js";
import { inWords } from "../row/sentence.js";
import { list, said, t } from "../words.js";
import { goInstead } from "../route.js";
import { html } from "../view.js";
import { say } from "./say.js";

const keyboards = matchMedia("(any-hover: hover) and (any-pointer: fine)");
/** Whether this looks like a laptop; a phone would only show its own keyboard over the slate. */
export const hasKeyboard = signal(keyboards.matches);
keyboards.addEventListener("change", () => (hasKeyboard.value = keyboards.matches));

/**
 * One input stays for all rows. It is empty as soon as `Enter` is pressed: what is typed while a row is still on its way to the
 * disk is the next row's, and each line is stored in the row that is in hand once the lines before it are.
 */
export function TypedLine({ hand, line }) {
  const text = useSignal("");
  const input = useRef(null);
  const turn = useRef(Promise.resolve());
  useEffect(() => input.current.focus({ preventScroll: true }), [line]);
  const type = (next) => {
    input.current.value = next;
    text.value = next;
  };
  const store = async (said) => {
    const { line: now } = hand;
    const isKnown = !readFor(hand, now, said, now.entry.value ?? {}).unknown.length;
    const isStored = isKnown && (!said.trim() || (await hand.enter(now, (values) => readFor(hand, now, said, values).values)));
    if (!isStored) type([said, text.value].filter(Boolean).join(" "));
    else if (!hand.goOn()) goInstead("finish", hand.session);
  };
  const submit = (event) => {
    event.preventDefault();
    const said = text.value;
    type("");
    turn.current = turn.current.then(() => store(said));
  };
  return html`
    <form class="typed-line" onSubmit=${submit}>
      <label for="codes">${t("entry.codes")}</label>
      <input id="codes" ref=${input} class="wide" autocomplete="off" autocapitalize="characters" autocorrect="off" spellcheck=${false} enterkeyhint="next"
        value=${text.value} onInput=${({ target }) => (text.value = target.value)} aria-describedby="understood" />
      <p id="understood" role="status">${text.value ? understood(hand, line, readFor(hand, line, text.value, line.entry.value ?? {})) : t("entry.codes_hint")}</p>
    </form>
  `;
}

function readFor(hand, line, text, values) {
  return line.of === "count" ? typedCounts(text, hand.protocol, values) : typed(text, hand.protocol, "coral", values);
}

function understood(hand, line, { values, read, unknown }) {
  if (unknown.length) return html`<span class="warn">${t("entry.codes_unknown", { codes: list(unknown) })}</span>`;
  // The piece typed last may have meant a later field too; of those before it the words have been read already.
  const last = read.at(-1);
  const other = last?.field.role === "status" ? undefined : last?.also[0];
  const doubt = other ? t("entry.codes_also", { code: last.text, field: said(other.label), typed: `${shortName(other, hand.protocol)}:${last.text}` }) : "";
  return `${inWords(hand.protocol, line.of, values, say)}. ${doubt}`;
}

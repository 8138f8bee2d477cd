/** A row that is not in hand, folded to one line: what was entered, in words, or that nobody has read it. */
import { t } from "../words.js";
import { inWords } from "../row/sentence.js";
import { html } from "../view.js";
import { lineName } from "./names.js";
import { say } from "./say.js";

// Words beside each mark: no state is told by a sign or a colour alone.
const MARKS = { unread: "○", read: "●", not_searched: "–", incomplete: "▲", doubtful: "▲" };

export function Folded({ hand, line, place }) {
  const state = line.state.value;
  const words = inWords(hand.protocol, line.of, line.entry.value, say);
  const photos = hand.photosOf(line).length;
  return html`
    <div role="listitem">
      <button type="button" class=${`folded ${state}`} onClick=${() => hand.hold(place)}>
        <span class="sounding">${line.number}</span>
        <span class="tag">${lineName(line)}</span>
        <span class="words"><span class="mark" aria-hidden="true">${MARKS[state]}</span> ${stateInWords(state, words)}${line.again && ` · ${t("entry.again")}`}${photos > 0 && html`<span class="with">${t("entry.with_photos", { n: photos })}</span>`}</span>
      </button>
    </div>
  `;
}

function stateInWords(state, words) {
  if (state === "unread") return t("entry.state_unread");
  if (state === "incomplete") return `${words} (${t("entry.state_incomplete")})`;
  return words;
}

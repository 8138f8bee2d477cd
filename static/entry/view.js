/** What every screen draws with. */
import { h } from "preact";
import { useEffect, useRef } from "preact/hooks";
import htm from "htm";
import { dropGuard } from "./water.js";

export const html = htm.bind(h);

const counts = dropGuard();

/**
 * A key: acts on release within it, and once where a drop of water taps twice.
 * @param {{name: string, press: () => void, chosen?: boolean, class?: string}} of `name` tells keys apart, whatever stands on them
 */
export function Key({ name, press, chosen, class: classes = "", children, ...rest }) {
  const act = (event) => counts(name, event.timeStamp) && press(event);
  return html`<button type="button" class=${`key ${classes}`} aria-pressed=${chosen === undefined ? undefined : String(chosen)} onClick=${act} ...${rest}>${children}</button>`;
}

/** A field for tags, codes and addresses: letters as they are typed, kept in the signal `text`. */
export function Letters({ text, ...rest }) {
  const type = ({ target }) => (text.value = target.value);
  return html`<input class="wide" autocomplete="off" autocapitalize="characters" autocorrect="off" spellcheck=${false} value=${text.value} onInput=${type} ...${rest} />`;
}

/** A heading that takes the focus when its screen opens, so that a reader begins there. */
export function Title({ children, ...rest }) {
  const heading = useRef(null);
  useEffect(() => heading.current?.focus({ preventScroll: true }), []);
  return html`<h1 tabindex="-1" ref=${heading} ...${rest}>${children}</h1>`;
}

/** An image from bytes: its address lives as long as it is shown. */
export function Picture({ blob, alt, ...rest }) {
  const image = useRef(null);
  useEffect(() => {
    if (!blob) return undefined;
    const address = URL.createObjectURL(blob);
    image.current.src = address;
    return () => URL.revokeObjectURL(address);
  }, [blob]);
  return blob ? html`<img ref=${image} alt=${alt} ...${rest} />` : null;
}

/** The sentences of the page, from the same catalogue as the base's (fieldkit/messages/…/entry.toml), in the reader's language. */
import { signal } from "@preact/signals";
import { dayInWords } from "./days.js";

const KEPT = "fieldkit.language";
const catalogues = {};
const made = new Map();

/** Making what formats numbers and days takes a phone longer than all else in a row: each is made once. */
function formatter(Kind, options) {
  const key = `${Kind.name} ${language.value} ${JSON.stringify(options)}`;
  if (!made.has(key)) made.set(key, new Kind(language.value, options));
  return made.get(key);
}

export const LANGUAGES = { en: "English", es: "Español" };
/** The language in use. Whatever reads it is drawn anew when it changes. */
export const language = signal("en");

/** The language of last time is fetched, else the first of the browser's list that there is. */
export const learnt = learn();

async function learn() {
  const wanted = [kept(), ...navigator.languages.map((tag) => tag.split("-")[0].toLowerCase())];
  await speak(wanted.find((tag) => tag in LANGUAGES) ?? "en");
}

export async function choose(tag) {
  await speak(tag);
  try {
    localStorage.setItem(KEPT, tag);
  } catch {
    // A private window may keep nothing; then the browser's own list decides again next time.
  }
}

async function speak(tag) {
  catalogues[tag] ??= await (await fetch(`words/${tag}.json`)).json();
  language.value = tag;
  document.documentElement.lang = tag;
}

function kept() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null;
  }
}

/** The sentence for a key, its data filled in; the plural form is chosen by `n`. */
export function t(key, data = {}) {
  const found = catalogues[language.value][key];
  const text = typeof found === "string" ? found : found[formatter(Intl.PluralRules).select(data.n)] ?? found.other;
  return text.replace(/\{(\w+)\}/g, (_, name) => shown(data[name]));
}

/** Whether there is a sentence for a key: what another part of the page throws may be newer than its words. */
export function isKnown(key) {
  return key in catalogues[language.value];
}

function shown(datum) {
  return typeof datum === "number" ? figure(datum) : String(datum ?? "");
}

export function figure(value, options) {
  return formatter(Intl.NumberFormat, options).format(value);
}

/** A number as typed, with the decimal mark of the language. */
export function decimal(text) {
  const mark = figure(0.5).replace(/[05]/g, "");
  return String(text).replace(".", mark);
}

export function day(iso) {
  if (!iso) return "";
  const key = `${language.value} ${iso}`;
  if (!made.has(key)) made.set(key, dayInWords(iso, language.value));
  return made.get(key);
}

export function list(texts) {
  return formatter(Intl.ListFormat, { type: "conjunction" }).format(texts);
}

/** A text that a protocol or the register has in several languages. */
export function said(texts) {
  return texts?.[language.value] ?? texts?.en ?? Object.values(texts ?? {})[0] ?? "";
}

const UNITS = { Cel: "°C", 1: "" };

/** A unit as people write it; UCUM writes some otherwise. */
export function unit(code) {
  return code === undefined ? "" : (UNITS[code] ?? code);
}

/** Bytes as people read them. */
export function size(bytes) {
  const mega = bytes / 1e6;
  return mega < 1 ? `${figure(Math.ceil(bytes / 1000))} kB` : `${figure(mega, { maximumFractionDigits: mega < 10 ? 1 : 0 })} MB`;
}

/**
 * A series of tags in one line, as a planting day writes them: "B101-B110, G07" are ten tags and their genotype. The base reads
 * them the same way (fieldkit/register/tags.py, which says how): tests/cases/register/series.json holds the cases for both.
 */

const MOST = 500;
const MAX_TAG = 40;
const DASH = /\s*[-\u2010-\u2015]\s*/g;
const END = /^(\D*?)(\d{1,9})(\D*)$/;

/** The form in which names are compared: "b 104" and "B104" are one tag. */
export function folded(name) {
  return name.normalize("NFKC").toLowerCase().replace(/\s/g, "");
}

/**
 * @param {string} text
 * @param {{genotype: string, accession: string}[]} genotypes
 * @param {string} [otherwise] the genotype of tags behind which none is named, that of their lot
 * @returns {{tagged: {tag: string, genotype: string}[], faults: {key: string, data: object}[]}} with faults nothing may be written
 */
export function readSeries(text, genotypes, otherwise) {
  const ids = new Map(genotypes.map(({ genotype, accession = "" }) => [folded(accession), genotype]));
  const [tagged, faults] = [[], []];
  const fault = (key, data) => faults.push({ key: `programme.${key}`, data });
  let waiting = [];
  const name = (genotype) => {
    tagged.push(...waiting.map((tag) => ({ tag, genotype })));
    waiting = [];
  };
  for (const word of text.split(/[,;\n]/).map((part) => part.trim().replace(/\s+/g, " ")).filter(Boolean)) {
    const genotype = ids.get(folded(word));
    if (!genotype) waiting.push(...tagsOf(word, fault));
    else if (waiting.length) name(genotype);
    else if (!faults.length) fault("genotype_of_none", { word: word.slice(0, 60) });
    if (tagged.length + waiting.length > MOST) {
      fault("too_many_tags", { most: MOST });
      return { tagged: [], faults };
    }
  }
  if (otherwise) name(otherwise);
  if (waiting.length) fault("no_genotype_named", { word: waiting.at(-1), known: genotypes.map((one) => one.accession).join(", ") || "-" });
  const tags = tagged.map(({ tag }) => folded(tag));
  const twice = tagged.filter((_, i) => tags.indexOf(tags[i]) < i).map(({ tag }) => tag);
  if (twice.length) fault("tag_twice", { tags: [...new Set(twice)].join(", ") });
  if (!tagged.length && !faults.length) fault("no_tags", {});
  return { tagged, faults };
}

/** The tags of a word: those of a range, or the word itself. */
function tagsOf(word, fault) {
  const refuse = (key, data) => {
    fault(key, data);
    return [];
  };
  if ([...word].length > MAX_TAG) return refuse("tag_too_long", { word: word.slice(0, 60), most: MAX_TAG });
  for (const dash of word.matchAll(DASH)) {
    const [first, last] = [END.exec(word.slice(0, dash.index)), END.exec(word.slice(dash.index + dash[0].length))];
    if (!first || !last) continue;
    const [[, before, start, after], [, prefix, end, suffix]] = [first, last];
    const isShort = !prefix && !suffix && end.length === start.length; // "B101-110"
    const isSame = folded(prefix) === folded(before) && folded(suffix) === folded(after);
    const isUneven = (start.startsWith("0") || end.startsWith("0")) && start.length !== end.length;
    const many = Number(end) - Number(start);
    if ((!isSame && !isShort) || isUneven) return refuse("range_of_two", { word });
    if (many <= 0) return refuse("range_backwards", { word });
    if (many >= MOST) return refuse("too_many_tags", { most: MOST });
    return Array.from({ length: many + 1 }, (_, i) => before + String(Number(start) + i).padStart(start.length, "0") + after);
  }
  return [word];
}

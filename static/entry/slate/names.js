/** What the register calls things. */
import { register } from "../page.js";

export function siteName(site) {
  return register.value?.sites?.find((one) => one.site === site)?.name ?? "";
}

export function plotName(plot) {
  return plot.name || "–";
}

export function genotypeName(genotype) {
  return register.value?.genotypes?.find((one) => one.genotype === genotype)?.accession ?? "";
}

/** What a line is called: its tag, else its place, else the genotype that is counted. */
export function lineName(line) {
  return line.tag ?? line.position ?? genotypeName(line.genotype) ?? "";
}

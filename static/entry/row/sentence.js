/**
 * A row in words, as it stands folded on the slate: "Alive, nothing wrong seen", "Alive; Bleaching: Pale", "Missing; What is left
 * there: Nothing".
 * `say` gives the words (words.js); everything else is decided from values.
 */
import { COUNTED, fieldsOf, isNotSearched, isRead, isSaid, statusOf } from "./row.js";
import { applies } from "./conditions.js";

/**
 * @param {{t: Function, said: Function, decimal: Function, unit: Function}} say
 * @returns {string}
 */
export function inWords(protocol, of, values, say) {
  if (!values || !isRead(values)) return "";
  const note = values.note ? ` “${values.note}”` : "";
  if (isNotSearched(values)) return say.t("entry.not_searched") + note;
  return (of === "count" ? countsInWords(protocol, values, say) : coralInWords(protocol, values, say)) + note;
}

function coralInWords(protocol, values, say) {
  const status = statusOf(protocol);
  const state = status && isSaid(values, status.name) ? valueInWords(status, values[status.name], say) : "";
  const well = wellSaid(protocol, values);
  const said = fieldsOf(protocol, "coral").filter((field) => field !== status && isSaid(values, field.name));
  const findings = said.filter((field) => !(well.complete && well.names.has(field.name)));
  const told = findings.map((field) => `${say.said(field.label)}: ${valueInWords(field, values[field.name], say)}`).join("; ");
  if (!well.complete) return [state, told].filter(Boolean).join("; ");
  return told ? say.t("entry.state_else_well", { state, told }) : say.t("entry.state_all_well", { state });
}

/** The fields that say just what "nothing wrong" says, and whether those that apply and say otherwise are all that is missing. */
function wellSaid(protocol, values) {
  const well = protocol.all_well ?? {};
  const asked = fieldsOf(protocol, "coral").filter((field) => field.name in well && field.role !== "status" && applies(field, values));
  const names = new Set(asked.filter((field) => same(values[field.name], well[field.name])).map((field) => field.name));
  const complete = asked.length > 0 && asked.every((field) => isSaid(values, field.name)) && names.size > 0;
  return { names, complete };
}

function same(one, other) {
  return JSON.stringify(one) === JSON.stringify(other);
}

function countsInWords(protocol, values, say) {
  const counts = COUNTED.filter((name) => isSaid(values, name)).map((name) => `${say.t(`entry.count_${name}`)} ${say.decimal(values[name])}`);
  const others = fieldsOf(protocol, "count").filter((field) => isSaid(values, field.name));
  return [...counts, ...others.map((field) => `${say.said(field.label)} ${valueInWords(field, values[field.name], say)}`)].join(", ");
}

/** A value of a field, in words and with its unit. */
export function valueInWords(field, value, say) {
  const label = (name) => say.said(field.values?.find((choice) => choice.value === name)?.label) || name;
  if (Array.isArray(value)) return value.map(label).join(", ");
  if (value && typeof value === "object") return Object.entries(value).map(([name, many]) => `${label(name)} ${say.decimal(many)}`).join(", ");
  if (field.values) return label(value);
  if (field.kind === "flag") return say.t(value === "yes" ? "entry.yes" : "entry.no");
  if (field.kind === "text") return value;
  const unit = field.kind === "percent" ? "%" : say.unit(field.unit);
  return [say.decimal(value), unit].filter(Boolean).join(" ");
}

"""A mapping with what a person chose in a form laid over it: what each column holds, the words, the order of days. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping as Map
from dataclasses import replace

from fieldkit.register.sheets.mapping import DATE_ORDERS, LAYOUTS, NAMES, STATUSES, Mapping, Visit
from fieldkit.register.sheets.proposing import Proposal

COLUMN_NAMES = NAMES
BOTH = "status+size_cm"
"""A column of sizes in which words stand for states."""


def edited(mapping: Mapping, proposal: Proposal, form: Map[str, str]) -> Mapping:
    """The mapping as the form has it; what the form does not show stays.

    Args:
        proposal: of the sheet that the form was made for: its columns and words, in the order of the fields.
        form: `column0` (our name, or ""), `visit0` (1 …, or ""), `day1` (of a visit), `word0`, `layout`, `date_order`,
            `decimal`, `site`.
    """
    if "column0" not in form:
        return mapping
    columns, visits = _columns(mapping, proposal, form)
    constants = {name: text for name, text in mapping.constants.items() if name != "site" and name not in columns}
    site = form.get("site", "").strip()
    if site and "site" not in columns:
        constants["site"] = site
    return replace(
        mapping,
        columns=columns,
        visits=visits,
        constants=constants,
        status=_status(mapping, proposal, form),
        layout=_one_of(form.get("layout"), LAYOUTS),
        date_order=_one_of(form.get("date_order"), DATE_ORDERS),
        decimal="," if form.get("decimal") == "," else ".",
        headings=tuple(column.label for column in proposal.columns),
        words={name: words for name, words in mapping.words.items() if _is_taken(name, columns, visits)},
        fractions=tuple(name for name in mapping.fractions if _is_taken(name, columns, visits)),
    )


def _columns(mapping: Mapping, proposal: Proposal, form: Map[str, str]) -> tuple[dict[str, tuple[str, ...]], tuple[Visit, ...]]:
    shown = {column.label for column in proposal.columns}
    # A column split over several, or spelt in several ways, is no field of the form.
    columns = {name: labels for name, labels in mapping.columns.items() if not (len(labels) == 1 and labels[0] in shown)}
    visits: dict[int, dict[str, str]] = defaultdict(dict)
    for place, column in enumerate(proposal.columns):
        number = form.get(f"visit{place}", "")
        for name in filter(None, form.get(f"column{place}", "").split("+")):
            if number.isdecimal() and int(number):
                visits[int(number)][name] = column.label
            else:
                columns[name] = (column.label,)
    days = {number: form.get(f"day{number}", "").strip() for number in visits}
    return columns, tuple(Visit("" if "seen_on" in held else days[number], held) for number, held in sorted(visits.items()))


def _status(mapping: Mapping, proposal: Proposal, form: Map[str, str]) -> dict[str, tuple[str, ...]]:
    shown = list(proposal.words)
    found: dict[str, list[str]] = defaultdict(list)
    for state, words in mapping.status.items():
        found[state] += [word for word in words if word not in shown]
    for place, word in enumerate(shown):
        state = form.get(f"word{place}", "")
        if state in STATUSES:
            found[state].append(word)
    return {state: tuple(words) for state, words in found.items() if words}


def _is_taken(name: str, columns: Map[str, object], visits: tuple[Visit, ...]) -> bool:
    return name in columns or any(name in visit.columns for visit in visits)


def _one_of(given: str | None, known: tuple[str, ...]) -> str | None:
    return given if given in known else None

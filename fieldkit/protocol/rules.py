"""What the parts of a protocol must keep to together: unique names, conditions that can hold, roles that can answer.

Each rule takes fields that are each right in themselves and adds a fault where two parts do not fit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from itertools import pairwise

from fieldkit.protocol.faults import Faults
from fieldkit.protocol.places import Path
from fieldkit.protocol.protocol import FLAG_VALUES, MEASURED, ROLES, STATES, WITH_VALUES, Effort, EventVisit, Field, Round
from fieldkit.protocol.spelling import nearest

Placed = Mapping[Path, Field]


def check_fields(fields: Placed, all_names: Collection[str], faults: Faults) -> None:
    """Everything about the fields. `all_names` also holds the names of fields that were faulty in themselves."""
    for path, field in fields.items():
        _check_keys_fit_kind(path, field, faults)
        _check_limits(path, field, faults)
        _check_list(path, field, faults)
        _check_role(path, field, faults)
        _check_conditions(path, field, fields, all_names, faults)
    _check_names(fields, faults)
    _check_one_field_a_role(fields, faults)


def check_rounds(rounds: Mapping[Path, Round], faults: Faults) -> None:
    for path, round_ in rounds.items():
        if round_.early_days < 0:
            faults.add((*path, "early"), "round_before_planting", name=round_.name)
    for path, name in _repeats((path, round_.name) for path, round_ in rounds.items()):
        faults.add((*path, "name"), "name_twice", name=name)
    by_age = sorted(rounds.items(), key=lambda placed: placed[1].early_days)
    for (_, one), (path, other) in pairwise(by_age):
        if other.early_days <= one.late_days:
            days = {"ends": one.late_days, "begins": other.early_days}
            faults.add(path, "rounds_overlap", one=one.name, other=other.name, **days)


def check_event_visits(visits: Mapping[Path, EventVisit], faults: Faults) -> None:
    for path, visit in visits.items():
        if visit.closes_days < visit.opens_days:
            faults.add((*path, "closes"), "closes_before")


def check_effort(effort: Effort, faults: Faults) -> None:
    for key in ("minutes_per_plot", "minutes_per_coral", "minutes_per_hand"):
        minutes = getattr(effort, key)
        if minutes < 0:
            faults.add(("effort", key), "below_zero", value=str(minutes))
    if effort.minutes(1) <= 0:
        faults.add(("effort",), "no_minutes")


def check_percentage(path: Path, value: Decimal | None, faults: Faults) -> None:
    if value is not None and not 0 <= value <= 100:
        faults.add(path, "not_a_percentage", value=str(value))


def check_positive(path: Path, value: Decimal | None, faults: Faults) -> None:
    if value is not None and value <= 0:
        faults.add(path, "not_positive", value=str(value))


def _check_keys_fit_kind(path: Path, field: Field, faults: Faults) -> None:
    if field.kind in WITH_VALUES and not field.values:
        faults.add(path, "values_missing", kind=field.kind)
    if field.kind not in WITH_VALUES and field.values:
        faults.add((*path, "values"), "key_for_other_kinds", name="values", kind=field.kind, kinds=_listed(WITH_VALUES))
    if field.ordered and field.kind != "choice":
        faults.add((*path, "ordered"), "key_for_other_kinds", name="ordered", kind=field.kind, kinds="choice")
    for key in ("unit", "agree_within", "min", "max", "step"):
        if field.kind not in MEASURED and getattr(field, key) is not None:
            faults.add((*path, key), "key_for_other_kinds", name=key, kind=field.kind, kinds=_listed(MEASURED))


def _check_limits(path: Path, field: Field, faults: Faults) -> None:
    check_positive((*path, "step"), field.step, faults)
    if field.agree_within is not None and field.agree_within < 0:
        faults.add((*path, "agree_within"), "below_zero", value=str(field.agree_within))
    if field.min is not None and field.max is not None and field.min > field.max:
        faults.add((*path, "min"), "min_above_max", min=str(field.min), max=str(field.max))
    if field.kind == "percent":
        check_percentage((*path, "min"), field.min, faults)
        check_percentage((*path, "max"), field.max, faults)


def _check_list(path: Path, field: Field, faults: Faults) -> None:
    """Within one field a value, an earlier name of it, and a code as typed must each mean one thing."""
    placed = [((*path, "values", index), choice) for index, choice in enumerate(field.values)]
    called = [((*at, "value"), choice.value) for at, choice in placed]
    called += [((*at, "was"), was) for at, choice in placed for was in choice.was]
    for at, value in _repeats(called):
        faults.add(at, "value_twice", value=value)
    for at, code in _repeats(((*at, "code"), choice.code.casefold()) for at, choice in placed):
        faults.add(at, "code_twice", value=code.upper())
    for at, choice in placed:
        if choice.asks and field.of != "coral":
            faults.add((*at, "asks"), "asks_of_coral", value=field.of)
        if field.kind == "tally" and choice.code[-1].isdigit():
            faults.add((*at, "code"), "code_ends_in_digit", value=choice.code)


def _check_role(path: Path, field: Field, faults: Faults) -> None:
    if field.role is None:
        return
    if field.kind not in ROLES[field.role]:
        faults.add((*path, "role"), "role_of_other_kind", role=field.role, kind=field.kind, kinds=_listed(ROLES[field.role]))
    elif field.role == "status":
        _check_status(path, field, faults)


def _check_status(path: Path, field: Field, faults: Faults) -> None:
    if field.of != "coral":
        faults.add((*path, "of"), "status_of_coral", value=field.of)
    values = [choice.value for choice in field.values]
    lacking = [state for state in STATES if state not in values]
    if lacking:
        faults.add((*path, "values"), "states_lacking", lacking=", ".join(lacking))
    for index, value in enumerate(values):
        if value not in STATES:
            faults.add((*path, "values", index, "value"), "state_unknown", value=value)


def _check_conditions(path: Path, field: Field, fields: Placed, all_names: Collection[str], faults: Faults) -> None:
    earlier = {other.name: other for at, other in fields.items() if at < path and other.of == field.of}
    for name, wanted in field.only_where.items():
        at = (*path, "only_where", name)
        if name in earlier:
            _check_condition(at, earlier[name], wanted, faults)
        elif name not in all_names:
            faults.add(at, "condition_unknown_field", name=name, known=nearest(name, earlier))
        elif any(other.name == name for other in fields.values()):
            faults.add(at, "condition_not_earlier", name=name)


def _check_condition(at: Path, asked: Field, wanted: Iterable[str], faults: Faults) -> None:
    known = FLAG_VALUES if asked.kind == "flag" else tuple(choice.value for choice in asked.values)
    if asked.kind not in WITH_VALUES | {"flag"}:
        faults.add(at, "condition_no_list", name=asked.name, kind=asked.kind)
        return
    for value in wanted:
        if value not in known:
            faults.add(at, "condition_unknown_value", name=asked.name, value=value, known=nearest(value, known))


def _check_names(fields: Placed, faults: Faults) -> None:
    for path, name in _repeats((path, field.name) for path, field in fields.items()):
        faults.add((*path, "name"), "name_twice", name=name)
    taken = [(path, field.name) for path, field in fields.items()]
    earlier = [((*path, "was"), was) for path, field in fields.items() for was in field.was]
    for at, was in _repeats([*dict.fromkeys(taken), *earlier]):
        if at[-1] == "was":
            faults.add(at, "was_twice", name=was)


def _check_one_field_a_role(fields: Placed, faults: Faults) -> None:
    for path, role in _repeats((path, field.role) for path, field in fields.items() if field.role):
        faults.add((*path, "role"), "role_twice", role=role)


def _repeats(placed: Iterable[tuple[Path, str]]) -> list[tuple[Path, str]]:
    """Those that were there before, each but the first time."""
    seen: Counter[str] = Counter()
    again = []
    for path, name in placed:
        seen[name] += 1
        if seen[name] > 1:
            again.append((path, name))
    return again


def _listed(names: Iterable[str]) -> str:
    return ", ".join(sorted(names))

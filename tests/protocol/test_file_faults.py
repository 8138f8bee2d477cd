"""One fault a case: a right file, one thing changed in it, and what is said about it and where.

In each case `old` is replaced by `new`; a ¶ in `new` marks the line that the fault must name, and is taken out.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from fieldkit import messages
from fieldkit.protocol import Protocol, ProtocolError, read_protocol

DEAD = '{ value = "dead", code = "D", label = { en = "Dead", es = "Muerto" } }'
ALIVE = 'values = [\n  { value = "alive"'
LIVE = '[[field]]\nname = "live"\nof = "coral"\nkind = "percent"\nunit = "%"\nagree_within = "10"\n'
LIVE_LABEL = 'label = { en = "Live tissue", es = "Tejido vivo" }'
WIDTH = 'name = "width_cm"\n'


class Case(NamedTuple):
    claim: str
    fault: str
    where: str
    old: str
    new: str


TABLES = [
    Case("an unknown table", "unknown_key", "rounds", "[plausible]", "¶[rounds]\n[plausible]"),
    Case("an unknown key of the protocol", "unknown_key", "protocol.titel", "version = 2", "version = 2\n¶titel = 1"),
    Case("an unknown key of a field", "unknown_key", "field.width_cm.maxx", WIDTH, f'{WIDTH}¶maxx = "3"\n'),
    Case(
        "an unknown key of a choice",
        "unknown_key",
        "field.status.values.2.colour",
        DEAD,
        f"¶{DEAD.replace('code', 'colour = 1, code')}",
    ),
    Case(
        "an unknown key of a round", "unknown_key", "round.month 3.erly", 'name = "month 3"', 'name = "month 3"\n¶erly = "P1D"'
    ),
    Case("an unknown limit", "unknown_key", "plausible.shrink", "[plausible]", '[plausible]\n¶shrink = "1"'),
    Case("a missing key of the protocol", "key_missing", "protocol", '[protocol]\nname = "every-kind"\n', "¶[protocol]\n"),
    Case(
        "a missing key of a field",
        "key_missing",
        "field.live",
        LIVE,
        LIVE.replace("[[field]]", "¶[[field]]").replace('of = "coral"\n', ""),
    ),
    Case("a missing key of a choice", "key_missing", "field.status.values.2", DEAD, "¶" + DEAD.replace('code = "D", ', "")),
    Case("a limit that is no table", "not_a_table", "plausible", '[plausible]\ngrowth_cm_per_year = "30"', "#"),
    Case("a choice that is no table", "not_a_table", "field.status.values.2", DEAD, '¶"dead"'),
    Case("all well that is no table", "not_a_table", "all_well", '[all_well]\nstatus = "alive"\nsigns = ["none"]', "#"),
    Case(
        "rounds that are no list of tables",
        "not_a_list_of_tables",
        "round",
        '[[round]]\nname = "month 1"\nage = "P1M"\nearly = "P1W"\nlate = "P1W"\n',
        "#",
    ),
]
VALUES = [
    Case("a row of an unknown sort", "not_one_of", "field.width_cm.of", f'{WIDTH}of = "coral"', f'{WIDTH}¶of = "corals"'),
    Case("an unknown kind", "not_one_of", "field.live.kind", '"percent"', '¶"precent"'),
    Case("a kind that is a list", "not_one_of", "field.live.kind", '"percent"', '¶["percent"]'),
    Case("an unknown role", "not_one_of", "field.width_cm.role", '"size"', '¶"sizes"'),
    Case("last seen neither hidden nor shown", "not_one_of", "protocol.last_seen", '"shown"', '¶"maybe"'),
    Case("a name with a blank", "bad_name", "field.my width.name", WIDTH, '¶name = "my width"\n'),
    Case("a name too long for a heading", "bad_name", f"field.{'a' * 41}.name", WIDTH, f'¶name = "{"a" * 41}"\n'),
    Case("a value with capitals", "bad_name", "field.status.values.2.value", '"dead", code', '¶"Dead", code'),
    Case("a protocol's name with capitals", "bad_protocol_name", "protocol.name", '"every-kind"', '¶"Every Kind"'),
    Case("a name of the contract", "reserved_name", "field.tag.name", WIDTH, '¶name = "tag"\n'),
    Case("an empty text", "no_text", "field.live.label.en", 'en = "Live tissue"', '¶en = " "'),
    Case("a text without end", "no_text", "field.live.label.en", 'en = "Live tissue"', f'¶en = "{"x" * 501}"'),
    Case("a code with a blank", "bad_code", "field.status.values.2.code", 'code = "D"', '¶code = "D E"'),
    Case("a unit with a blank", "bad_unit", "field.live.unit", 'unit = "%"', '¶unit = "per cent"'),
    Case("a version that is no whole number", "bad_version", "protocol.version", "version = 2", "¶version = 2.5"),
    Case("a version below 1", "bad_version", "protocol.version", "version = 2", "¶version = 0"),
    Case("a version in quotes", "bad_version", "protocol.version", "version = 2", '¶version = "2"'),
    Case("a version that is true", "bad_version", "protocol.version", "version = 2", "¶version = true"),
    Case("a truth in quotes", "not_true_or_false", "field.status.required", "required = true\nwas", '¶required = "yes"\nwas'),
    Case(
        "a number without quotes", "not_a_quoted_number", "field.live.agree_within", 'agree_within = "10"', "¶agree_within = 10"
    ),
    Case("a number that is a word", "not_a_quoted_number", "plausible.growth_cm_per_year", '= "30"', '= ¶"much"'),
    Case("a duration in words", "bad_duration", "round.month 3.early", '"P2W"', '¶"2 weeks"'),
    Case("a duration in hours", "bad_duration", "protocol.same_visit", '"P2D"', '¶"PT24H"'),
    Case("a duration without quotes", "bad_duration", "round.month 3.early", '"P2W"', "¶14"),
    Case("a label that is one text", "not_wordings", "field.live.label", LIVE_LABEL, '¶label = "Live tissue"'),
    Case("a label without Spanish", "language_missing", "field.live.label", ', es = "Tejido vivo"', "¶"),
    Case("a label without English", "language_missing", "field.live.label", 'en = "Live tissue", ', "¶"),
    Case("a help without Spanish", "language_missing", "field.width_cm.help", WIDTH, f'{WIDTH}¶help = {{ en = "x" }}\n'),
    Case(
        "a language that is no code",
        "bad_language",
        "field.live.label.English",
        'es = "Tejido vivo"',
        'es = "x", ¶English = "x"',
    ),
    Case("values that are no list", "not_a_list", "field.width_cm.values", WIDTH, f'{WIDTH}¶values = "alive"\n'),
    Case("values that are an empty list", "not_a_list", "field.width_cm.values", WIDTH, f"{WIDTH}¶values = []\n"),
    Case("an earlier name that is a number", "not_a_list", "field.width_cm.was", WIDTH, f"{WIDTH}¶was = 3\n"),
    Case("conditions that are a text", "not_conditions", "field.width_cm.only_where", WIDTH, f'{WIDTH}¶only_where = "alive"\n'),
]
TOGETHER = [
    Case("two fields of one name", "name_twice", "field.status.name", WIDTH, '¶name = "status"\n'),
    Case("two rounds of one name", "name_twice", "round.month 3.name", '"month 1"', '¶"month 3"'),
    Case("an earlier name that is another field's", "was_twice", "field.width_cm.was", WIDTH, f'{WIDTH}¶was = "live"\n'),
    Case("an earlier name that a later field has", "was_twice", "field.width_cm.was", WIDTH, f'{WIDTH}¶was = "depth_m"\n'),
    Case("an earlier name that two fields claim", "was_twice", "field.width_cm.was", WIDTH, f'{WIDTH}¶was = "state"\n'),
    Case("two values of one name", "value_twice", "field.signs.values.3.value", '"bands"', '¶"spots"'),
    Case("an earlier value that is another's", "value_twice", "field.signs.values.2.was", '"dots"', '¶"bands"'),
    Case("two values of one code, capitals or not", "code_twice", "field.signs.values.3.code", 'code = "B"', '¶code = "s"'),
    Case(
        "a tally's code that ends in a digit", "code_ends_in_digit", "field.animals.values.2.code", 'code = "T"', '¶code = "T2"'
    ),
    Case(
        "a choice without values",
        "values_missing",
        "field.live",
        LIVE,
        '¶[[field]]\nname = "live"\nof = "coral"\nkind = "choice"\n',
    ),
    Case("values of a number", "key_for_other_kinds", "field.width_cm.values", WIDTH, f"{WIDTH}¶values = [ {DEAD} ]\n"),
    Case("a limit of a flag", "key_for_other_kinds", "field.animals_removed.max", 'kind = "flag"', 'kind = "flag"\n¶max = "3"'),
    Case("a unit of a text", "key_for_other_kinds", "field.removed_by.unit", 'kind = "text"', 'kind = "text"\n¶unit = "cm"'),
    Case(
        "an order of signs of which several hold",
        "key_for_other_kinds",
        "field.signs.ordered",
        'kind = "choices"',
        'kind = "choices"\n¶ordered = true',
    ),
    Case(
        "an order that is neither",
        "not_true_or_false",
        "field.signs.ordered",
        'kind = "choices"',
        'kind = "choices"\n¶ordered = 1',
    ),
    Case("a step of nothing", "not_positive", "field.width_cm.step", WIDTH, f'{WIDTH}¶step = "0"\n'),
    Case("a growth limit of nothing", "not_positive", "plausible.growth_cm_per_year", '"30"', '¶"0"'),
    Case("a tolerance below nothing", "below_zero", "field.live.agree_within", '"10"', '¶"-1"'),
    Case("a least above the most", "min_above_max", "field.width_cm.min", '"0.1"', '¶"201"'),
    Case("a percentage above 100", "not_a_percentage", "field.live.max", LIVE, f'{LIVE}¶max = "120"\n'),
    Case("a percentage below 0", "not_a_percentage", "field.live.min", LIVE, f'{LIVE}¶min = "-5"\n'),
    Case("blind repeats above 100 per cent", "not_a_percentage", "protocol.blind_repeats", '"12.5"', '¶"125"'),
    Case("a role that its kind cannot answer for", "role_of_other_kind", "field.live.role", LIVE, f'{LIVE}¶role = "cause"\n'),
    Case("two fields with one role", "role_twice", "field.depth_m.role", '"depth"', '¶"size"'),
    Case("a status of the session", "status_of_coral", "field.status.of", 'status"\nof = "coral"', 'status"\n¶of = "head"'),
    Case(
        "a status that lacks a state",
        "states_lacking",
        "field.status.values",
        ALIVE,
        ALIVE.replace("values", "¶values").replace("alive", "live"),
    ),
    Case(
        "a status with a state that no figure knows",
        "state_unknown",
        "field.status.values.3.value",
        DEAD,
        f"{DEAD},\n¶{DEAD.replace('dead', 'ill').replace('D', 'I')}",
    ),
    Case(
        "a condition on a field that is not there",
        "condition_unknown_field",
        "field.width_cm.only_where.state",
        WIDTH,
        f'{WIDTH}¶only_where = {{ state = ["alive"] }}\n',
    ),
    Case(
        "a condition on a later field",
        "condition_not_earlier",
        "field.live.only_where.width_cm",
        '"10"\nonly_where = { status',
        '"10"\n¶only_where = { width_cm',
    ),
    Case(
        "a condition on the session's field",
        "condition_not_earlier",
        "field.width_cm.only_where.depth_m",
        WIDTH,
        f'{WIDTH}¶only_where = {{ depth_m = ["x"] }}\n',
    ),
    Case(
        "a condition on itself",
        "condition_not_earlier",
        "field.width_cm.only_where.width_cm",
        WIDTH,
        f'{WIDTH}¶only_where = {{ width_cm = ["x"] }}\n',
    ),
    Case(
        "a condition on a number",
        "condition_no_list",
        "field.width_cm.only_where.live",
        WIDTH,
        f'{WIDTH}¶only_where = {{ live = ["x"] }}\n',
    ),
    Case(
        "a condition on a value that is not there",
        "condition_unknown_value",
        "field.live.only_where.status",
        '"10"\nonly_where = { status = ["alive"]',
        '"10"\n¶only_where = { status = ["living"]',
    ),
    Case(
        "a condition on a flag that is maybe",
        "condition_unknown_value",
        "field.removed_by.only_where.animals_removed",
        '["yes"]',
        '¶["maybe"]',
    ),
    Case(
        "a round that begins before the planting",
        "round_before_planting",
        "round.month 1.early",
        'early = "P1W"',
        '¶early = "P5W"',
    ),
    Case(
        "two rounds that share days",
        "rounds_overlap",
        "round.month 3",
        '[[round]]\nname = "month 3"\nage = "P3M"\nearly = "P2W"',
        '¶[[round]]\nname = "month 3"\nage = "P3M"\nearly = "P8W"',
    ),
    Case(
        "a hand that nobody can give",
        "not_one_of",
        "field.depth_m.values.1.asks",
        'kind = "number"\nunit = "m"\nrole = "depth"\nlabel = { en = "Depth", es = "Profundidad" }',
        'kind = "choice"\nlabel = { en = "Depth", es = "Profundidad" }\n'
        'values = [\n  { value = "deep", code = "D", ¶asks = "cleen", label = { en = "Deep", es = "Profundo" } },\n]',
    ),
    Case(
        "a hand asked for by a value of the dive",
        "asks_of_coral",
        "field.depth_m.values.1.asks",
        'kind = "number"\nunit = "m"\nrole = "depth"\nlabel = { en = "Depth", es = "Profundidad" }',
        'kind = "choice"\nlabel = { en = "Depth", es = "Profundidad" }\n'
        'values = [\n  { value = "deep", code = "D", ¶asks = ["clean"], label = { en = "Deep", es = "Profundo" } },\n]',
    ),
    Case("an unknown event", "not_one_of", "event_visit.1.event", 'event = "storm"', '¶event = "flood"'),
    Case("a window that closes first", "closes_before", "event_visit.1.closes", 'closes = "P4W"', '¶closes = "P0D"'),
    Case("minutes below zero", "below_zero", "effort.minutes_per_hand", 'hand = "3"', 'hand¶ = "-3"'),
    Case(
        "work that takes no time",
        "no_minutes",
        "effort",
        '[effort]\nminutes_per_plot = "5"\nminutes_per_coral = "1.5"',
        '¶[effort]\nminutes_per_plot = "0"\nminutes_per_coral = "0"',
    ),
]
ALL_WELL = [
    Case("a field that is not there", "unknown_field", "all_well.bleching", "[all_well]", '[all_well]\n¶bleching = "none"'),
    Case("a field of the session", "unknown_field", "all_well.depth_m", "[all_well]", '[all_well]\n¶depth_m = "3"'),
    Case("a value that is not there", "not_in_list", "all_well.signs", 'signs = ["none"]', '¶signs = ["nothing"]'),
    Case(
        "a value where its condition does not hold",
        "does_not_apply",
        "all_well.animals_removed",
        "[all_well]",
        '[all_well]\n¶animals_removed = "yes"',
    ),
    Case(
        "without what must be there",
        "required",
        "all_well.status",
        '[all_well]\nstatus = "alive"\nsigns = ["none"]',
        '¶[all_well]\nwidth_cm = "3"',
    ),
]
CASES = [*TABLES, *VALUES, *TOGETHER, *(case._replace(claim=f"all well: {case.claim}") for case in ALL_WELL)]


def changed(case: Case, text: str) -> tuple[str, int]:
    """The changed file and the line of the ¶; what is to be no table goes to the first line, before all tables."""
    assert case.old in text, f"{case.old!r} is not in the file"
    text = text.replace(case.old, case.new, 1)
    if case.new == "#":
        return f"{case.where} = 3\n{text}".replace("[[round]]", "[[field.rounds]]" if case.where == "round" else "[[round]]"), 1
    return text.replace("¶", ""), text[: text.index("¶")].count("\n") + 1


@pytest.mark.parametrize("case", CASES, ids=[case.claim for case in CASES])
def test_a_faulty_file_is_refused_with_the_line_the_place_and_the_reason(case: Case, every_kind_text: str) -> None:
    text, line = changed(case, every_kind_text)
    with pytest.raises(ProtocolError) as refused:
        read_protocol(text.encode(), name="ours.toml")
    told = {(fault.key.removeprefix("protocol."), fault.data["where"]): fault.data for fault in refused.value.faults}
    assert (case.fault, case.where) in told
    assert told[case.fault, case.where]["line"] == line


@pytest.mark.parametrize("language", messages.LANGUAGES)
@pytest.mark.parametrize("case", CASES, ids=[case.claim for case in CASES])
def test_every_fault_is_a_sentence_that_begins_with_its_place(case: Case, language: str, every_kind_text: str) -> None:
    text, line = changed(case, every_kind_text)
    with pytest.raises(ProtocolError) as refused:
        read_protocol(text.encode(), name="ours.toml")
    word = {"en": "line", "es": "línea"}[language]
    assert any(told.startswith(f"ours.toml, {word} {line}, {case.where}: ") for told in refused.value.texts(language))


def test_conditions_that_do_not_hold_are_told_beside_the_place(every_kind_text: str) -> None:
    (case,) = [case for case in CASES if case.fault == "does_not_apply"]
    with pytest.raises(ProtocolError, match=r"all_well\.animals_removed: .* only where animals = snails / stars\."):
        read_protocol(changed(case, every_kind_text)[0].encode())


def test_all_known_names_are_told_where_none_is_near(every_kind_text: str) -> None:
    with pytest.raises(ProtocolError, match=r"Perhaps: attachment, .*, visibility\.$"):
        read_protocol(every_kind_text.replace('role = "size"', 'role = "xyz"').encode())


def test_one_slip_is_one_fault(every_kind_text: str) -> None:
    slips = [
        case for case in VALUES if case.fault in ("bad_version", "bad_duration", "not_a_quoted_number", "language_missing")
    ]
    for case in slips:
        with pytest.raises(ProtocolError) as refused:
            read_protocol(changed(case, every_kind_text)[0].encode())
        assert len(refused.value.faults) == 1, case.claim


def test_the_right_file_is_taken(every_kind: Protocol) -> None:
    assert every_kind.name == "every-kind"

"""The layout `long`: one row a coral and visit. Which rows are taken and what becomes of them."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.ledger import Entry
from fieldkit.register.sheets import SheetError, Taken

HEAD = "site,plot,tag,planted_on,seen_on,status,size_cm,live_tissue,note\n"
ROW = "Outer,P1,A1,2025-01-10,2025-04-10,alive,12.5,80,tipped\n"


def values(taken: Taken, kind: str) -> list[dict[str, Any]]:
    return [dict(entry.values) for entry in taken.entries if entry.kind == kind]


def refusals(taken: Taken) -> list[tuple[int, str, str, str]]:
    return [(one.row, one.column, one.value, one.fault.key.removeprefix("sheets.")) for one in taken.refused]


def left(taken: Taken) -> dict[str, tuple[int, ...]]:
    return {one.fault.key.removeprefix("sheets.left_"): one.rows for one in taken.left}


def asked(taken: Taken) -> list[str]:
    return [one.text() for one in taken.asks]


def test_a_row_becomes_an_observation_under_the_protocols_names(take_csv: Any) -> None:
    (seen,) = values(take_csv(HEAD + ROW), "observation")
    (coral,) = values(take_csv(HEAD + ROW), "coral")
    said = {"line": "2", "status": "alive", "size_cm": "12.5", "live_tissue": "80", "note": "tipped"}
    assert seen == said | {"row": seen["row"], "plot": coral["plot"], "coral": coral["coral"]}


def test_a_new_coral_is_entered_with_its_planting_day(take_csv: Any) -> None:
    (coral,) = values(take_csv(HEAD + ROW), "coral")
    assert (coral["planted_on"], coral["precision"]) == ("2025-01-10", "day")


def test_a_tag_is_worn_from_the_planting_on(take_csv: Any) -> None:
    (tag,) = values(take_csv(HEAD + ROW), "tag")
    assert (tag["tag"], tag["from"]) == ("A1", "2025-01-10")


def test_the_size_on_the_planting_day_is_the_corals(take_csv: Any) -> None:
    rows = "Outer,P1,A1,2025-01-10,2025-01-10,alive,7,,\n" + ROW
    assert values(take_csv(HEAD + rows), "coral")[0]["size_cm"] == "7"


def test_one_session_is_made_for_each_site_day_and_recorder(take_csv: Any) -> None:
    noted = [("Outer", "MK"), ("Outer", "MK"), ("Outer", "JP"), ("Inner", "MK")]
    rows = "".join(f"{site},A{n},2025-04-10,alive,{recorder}\n" for n, (site, recorder) in enumerate(noted))
    sessions = values(take_csv("site,tag,seen_on,status,recorder\n" + rows), "session")
    opened = [(one["day"], one["recorder"]) for one in sessions if "day" in one]
    assert opened == [("2025-04-10", "MK"), ("2025-04-10", "JP"), ("2025-04-10", "MK")]


def test_every_session_counts_from_one_without_gaps_and_is_closed(take_csv: Any) -> None:
    by_session: dict[str, list[Entry]] = {}
    for entry in take_csv(HEAD + ROW).entries:
        by_session.setdefault(entry.session, []).append(entry)
    assert all([entry.seq for entry in session] == list(range(1, len(session) + 1)) for session in by_session.values())
    assert all(session[-1].kind == "close" and session[-1].values["n"] == len(session) - 1 for session in by_session.values())


def test_the_close_holds_the_sum_of_the_digests(take_csv: Any) -> None:
    entries = take_csv(HEAD + ROW).entries
    session = [entry for entry in entries if entry.session == entries[0].session]
    total = sum(int(entry.digest, 16) for entry in session[:-1]) % 2**256
    assert session[-1].values["sum"] == f"{total:064x}"


def test_a_blank_state_is_no_observation_and_never_a_death(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,,,,\n")
    assert (taken.rows_taken, taken.observations, left(taken)["not_read"]) == (1, 0, (2,))


def test_a_blank_state_is_asked_about_once(take_csv: Any) -> None:
    (question,) = asked(take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,,,,\n" * 3))
    assert question.startswith("Column “status”: 3 blanks (rows 2, 3, 4) were taken as not read")


def test_a_blank_state_that_the_mapping_explains_is_not_asked(take_csv: Any) -> None:
    assert not asked(take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,,,,\n", '[status]\nnot_read = [""]'))


def test_a_measure_beside_a_blank_state_is_refused_and_not_lost(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,,12,,\n")
    assert refusals(taken) == [(2, "size_cm", "12", "value_without_status")]


def test_a_state_only_in_the_note_is_refused_and_not_guessed(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,,,,gone; dead\n")
    assert refusals(taken) == [(2, "note", "gone; dead", "value_without_status")]


def test_a_zero_in_the_state_is_asked(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-01-10,2025-04-10,0,,,\n")
    assert refusals(taken) == [(2, "status", "0", "status_unknown")]
    assert asked(taken)[0].startswith("Column “status”: what does “0” mean (row 2): alive, dead, missing")


def test_one_unknown_word_is_one_question(take_csv: Any) -> None:
    rows = "".join(f"Outer,P1,A{n},2025-01-10,2025-04-10,{word},,,\n" for n, word in enumerate(["gone", "Gone ", "lost"]))
    assert [one.rows for one in take_csv(HEAD + rows).asks] == [(2, 3), (4,)]


def test_the_protocols_codes_are_read_without_a_mapping(take_csv: Any) -> None:
    assert values(take_csv(HEAD + "Outer,P1,A1,,2025-04-10,D,,,\n"), "observation")[0]["status"] == "dead"


def test_codes_do_not_count_beside_words_that_the_mapping_explains(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,D,,,\n", '[status]\nalive = ["OK"]')
    assert refusals(taken) == [(2, "status", "D", "status_unknown")]


def test_words_of_the_mapping_are_compared_folded(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,ok ,,,\n", '[status]\nalive = ["OK"]')
    assert values(taken, "observation")[0]["status"] == "alive"


def test_not_searched_is_an_observation_without_a_state(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,NS,,,\n", '[status]\nnot_searched = ["NS"]')
    (seen,) = values(taken, "observation")
    assert (seen["searched"], "status" in seen) == ("no", False)


@pytest.mark.parametrize(
    ("row", "column", "value", "fault"),
    [
        (",P1,A1,,2025-04-10,alive,,,", "site", "", "site_missing"),
        ("Outer,,A1,,2025-04-10,alive,,,", "plot", "", "plot_missing"),
        ("Outer,P1,,,2025-04-10,alive,,,", "tag", "", "no_identity"),
        ("Outer,P1,A1,,,alive,,,", "seen_on", "", "day_missing"),
        ("Outer,P1,A1,,unsampled,alive,,,", "seen_on", "unsampled", "no_day"),
        ("Outer,P1,A1,,03/04/2025,alive,,,", "seen_on", "03/04/2025", "day_order_unknown"),
        ("Outer,P1,A1,,2026-01-16,alive,,,", "seen_on", "2026-01-16", "day_in_future"),
        ("Outer,P1,A1,,1019-04-10,alive,,,", "seen_on", "1019-04-10", "day_long_ago"),
        ("Outer,P1,A1,2025-05-01,2025-04-10,alive,,,", "seen_on", "2025-04-10", "before_planting"),
        ("Outer,P1,A1,,2025-04-10,alive,89.4cm,,", "size_cm", "89.4cm", "no_number"),
        ('Outer,P1,A1,,2025-04-10,alive,"92,4",,', "size_cm", "92,4", "other_decimal_mark"),
        ("Outer,P1,A1,,2025-04-10,alive,#REF!,,", "size_cm", "#REF!", "no_value"),
        ("Outer,P1,1-Jan,,2025-04-10,alive,,,", "tag", "1-Jan", "name_turned_into_day"),
        ("Outer,P1,A\x07,,2025-04-10,alive,,,", "tag", "A\x07", "control_character"),
    ],
)
def test_a_row_is_refused_by_its_cell(take_csv: Any, row: str, column: str, value: str, fault: str) -> None:
    taken = take_csv(HEAD + ROW + row + "\n")
    assert refusals(taken) == [(3, column, value, fault)]
    assert taken.rows_taken == 1


def test_all_faults_of_a_row_are_told(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-13-01,soon,alive,big,,\n")
    assert [one.column for one in taken.refused] == ["planted_on", "seen_on", "size_cm"]


def test_what_the_protocol_does_not_understand_is_refused_by_column(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,alive,,130,\n")
    assert [(one.column, one.fault.key) for one in taken.refused] == [("live_tissue", "protocol.above_max")]


def test_a_dead_coral_with_a_size_is_refused_for_a_person_to_decide(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,dead,12,,\n")
    assert [(one.column, one.fault.key) for one in taken.refused] == [("size_cm", "protocol.does_not_apply")]


def test_no_live_tissue_on_a_dead_coral_is_no_contradiction(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,dead,,0.0,\n")
    assert (taken.rows_taken, left(taken)["zero_tissue"]) == (1, (2,))


def test_a_percent_sign_is_part_of_a_percentage(take_csv: Any) -> None:
    assert values(take_csv(HEAD + "Outer,P1,A1,,2025-04-10,alive,,80 %,\n"), "observation")[0]["live_tissue"] == "80"


def test_a_decimal_comma_is_read_where_the_mapping_says_so(take_csv: Any) -> None:
    taken = take_csv(HEAD + 'Outer,P1,A1,,2025-04-10,alive,"12,50",,\n', 'decimal = ","')
    assert values(taken, "observation")[0]["size_cm"] == "12.50"


def test_a_decimal_point_is_refused_where_the_mapping_says_comma(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2025-04-10,alive,1.250,,\n", 'decimal = ","')
    assert refusals(taken) == [(2, "size_cm", "1.250", "other_decimal_mark")]


def test_words_that_say_no_more_than_a_blank_are_blank(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,NA,2025-04-10,alive,na,-,NA\n", 'blank = ["NA", "-"]')
    (seen,) = values(taken, "observation")
    assert seen.keys() == {"row", "plot", "coral", "line", "status"}


def test_ambiguous_days_are_one_question(take_csv: Any) -> None:
    rows = "".join(f"Outer,P1,A{n},,0{n}/04/2025,alive,,,\n" for n in (1, 2, 3))
    assert asked(take_csv(HEAD + rows)) == [
        "Column “seen_on”: 3 cells such as “01/04/2025” may be one of two days (rows 2, 3, 4). Is the day or the month first? "
        'Set date_order = "dmy" or "mdy" in the mapping file.'
    ]


def test_a_day_known_to_the_month_is_its_first_and_told(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,2025-01,2025-04,alive,,,\n")
    assert (values(taken, "coral")[0]["planted_on"], values(taken, "coral")[0]["precision"]) == ("2025-01-01", "month")
    assert left(taken)["days_by_month"] == left(taken)["planted_by_month"] == (2,)


def test_a_sheet_without_planting_days_says_once_what_that_means(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status\nOuter,A1,2025-04-10,alive\nOuter,A2,2025-04-10,alive\n")
    told = [one.text() for one in taken.left if "planting" in one.text()]
    assert told == ["The sheet has no planting days. 2 corals are taken without one and left out of the survival figures."]


def test_corals_without_a_planting_day_are_counted(take_csv: Any) -> None:
    assert left(take_csv(HEAD + ROW + "Outer,P1,A2,,2025-04-10,alive,,,\n"))["no_planting_day"] == (3,)


def test_a_site_without_plots_is_one_plot(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status\nOuter,A1,2025-04-10,alive\n")
    assert values(taken, "plot")[0]["name"] == "Outer"


def test_the_same_tag_in_two_plots_is_two_corals(take_csv: Any) -> None:
    assert take_csv(HEAD + ROW + ROW.replace("P1", "P2")).corals == 2


def test_spellings_of_one_name_are_one_thing(take_csv: Any) -> None:
    taken = take_csv(HEAD + ROW + "outer ,p 1, a1,2025-01-10,2025-05-10,alive,,,\n")
    assert [len(values(taken, kind)) for kind in ("site", "plot", "coral")] == [1, 1, 1]


def test_a_tag_is_kept_as_typed(take_csv: Any) -> None:
    assert values(take_csv(HEAD + ROW.replace("A1", " a 1 ")), "tag")[0]["tag"] == " a 1 "


def test_rows_that_contradict_each_other_are_refused_naming_the_first(take_csv: Any) -> None:
    taken = take_csv(HEAD + ROW + ROW.replace("2025-01-10", "2025-01-11"))
    (refused,) = taken.refused
    assert refused.text() == (
        "sheet.csv, row 3, column “planted_on”, “2025-01-11”: row 2 says otherwise of the same coral, genotype or planting. "
        "Correct one of them."
    )


def test_a_row_before_the_planting_day_of_another_row_is_refused(take_csv: Any) -> None:
    taken = take_csv(HEAD + "Outer,P1,A1,,2024-12-01,alive,,,\n" + ROW)
    assert refusals(taken) == [(2, "seen_on", "2024-12-01", "before_planting")]


def test_nothing_is_entered_of_which_only_a_refused_row_speaks(take_csv: Any) -> None:
    taken = take_csv(HEAD + ROW + "Inner,P9,B1,,soon,alive,,,\n")
    assert [one["name"] for one in values(taken, "site")] == ["Outer"]


def test_a_position_alone_is_the_tagged_coral_that_another_row_puts_there(take_csv: Any) -> None:
    head = "site,tag,position,seen_on,status\n"
    taken = take_csv(head + "Outer,,3,2025-04-10,alive\nOuter,A1,3,2025-05-10,alive\n")
    assert (taken.rows_taken, taken.corals) == (2, 1)


def test_a_position_of_several_corals_is_refused(take_csv: Any) -> None:
    head = "site,tag,position,seen_on,status\n"
    taken = take_csv(head + "Outer,A1,3,2025-04-10,alive\nOuter,A2,3,2025-04-10,alive\nOuter,,3,2025-05-10,alive\n")
    assert refusals(taken) == [(4, "position", "3", "position_of_several")]


def test_species_stands_with_the_coral_and_its_genotype(take_csv: Any) -> None:
    taken = take_csv("site,tag,genotype,species,seen_on,status\nOuter,A1,K7,Acropora muricata,2025-04-10,alive\n")
    assert values(taken, "coral")[0]["species"] == values(taken, "genotype")[0]["species"] == "Acropora muricata"


def test_a_genotype_of_two_species_is_refused(take_csv: Any) -> None:
    head = "site,tag,genotype,species,seen_on,status\n"
    taken = take_csv(head + "Outer,A1,K7,Acropora muricata,2025-04-10,alive\nOuter,A2,K7,Acropora humilis,2025-04-10,alive\n")
    assert refusals(taken) == [(3, "species", "Acropora humilis", "contradicts")]


@pytest.mark.parametrize("word", ["?", "UNK", "Unknown", "n/a"])
def test_an_unknown_genotype_is_no_genotype(take_csv: Any, word: str) -> None:
    taken = take_csv(f"site,tag,genotype,seen_on,status\nOuter,A1,{word},2025-04-10,alive\n")
    assert (values(taken, "genotype"), left(taken)["genotype_unknown"]) == ([], (2,))


def test_a_round_is_taken_by_its_name_in_the_protocol(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status,round\nOuter,A1,2025-04-10,alive,Month 3\n")
    assert values(taken, "session")[1]["round"] == "month 3"


def test_a_round_that_the_protocol_lacks_is_refused(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status,round\nOuter,A1,2025-04-10,alive,R1\n")
    assert refusals(taken) == [(2, "round", "R1", "round_unknown")]


def test_words_of_a_list_are_explained_by_the_mapping(take_csv: Any) -> None:
    mapping = '[words.cause]\nstorm = ["cyclone"]'
    taken = take_csv("site,tag,seen_on,status,cause\nOuter,A1,2025-04-10,dead,Cyclone\n", mapping)
    assert values(taken, "observation")[0]["cause"] == "storm"


def test_an_unknown_word_of_a_list_is_asked(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status,cause\nOuter,A1,2025-04-10,dead,cyclone\n")
    assert "Say so under [words.cause] in the mapping file" in asked(taken)[0]


def test_several_values_stand_in_one_cell_of_a_list(take_csv: Any) -> None:
    taken = take_csv("site,tag,seen_on,status,predation\nOuter,A1,2025-04-10,alive,snails; fish bites\n")
    assert values(taken, "observation")[0]["predation"] == ["snails", "fish_bites"]


def test_a_label_that_holds_a_comma_is_one_value(take_csv: Any) -> None:
    head = "site,tag,seen_on,status,disease\n"
    taken = take_csv(
        head + 'Outer,A1,2025-04-10,alive,"tissue loss, acute"\n', '[words.disease]\ntissue_loss = "tissue loss, acute"'
    )
    assert values(taken, "observation")[0]["disease"] == ["tissue_loss"]


def test_titles_totals_and_blank_rows_are_passed_over_and_told(take_csv: Any) -> None:
    taken = take_csv("Corals of 2025\n\n" + HEAD + ROW + "\n" + ROW.replace("A1", "A2") + "Total,,2\n")
    told = left(taken)
    assert (told["above_headings"], told["blank_rows"], told["total_rows"]) == ((1,), (5,), (7,))
    assert taken.rows_taken == 2


def test_headings_that_stand_again_are_no_row(take_csv: Any) -> None:
    assert left(take_csv(HEAD + ROW + HEAD + ROW.replace("A1", "A2")))["headings_again"] == (3,)


def test_columns_that_were_not_asked_for_are_named(take_csv: Any) -> None:
    mapping = '[columns]\nsite = "Reef"\ntag = "No"\nseen_on = "Day"\nstatus = "State"\n'
    taken = take_csv("Reef,No,Day,State,Diver,\nOuter,A1,2025-04-10,alive,MK,x\n", mapping)
    assert "2 columns were not taken: Diver, F." in [one.text() for one in taken.left]


def test_headings_in_our_own_names_need_no_mapping(take_csv: Any) -> None:
    assert take_csv("Site,TAG, planted on ,Seen_on,Status,\nOuter,A1,2025-01-10,2025-04-10,alive,\n").rows_taken == 1


def test_constants_hold_for_every_row(take_csv: Any) -> None:
    taken = take_csv("tag,seen_on,status\nA1,2025-04-10,alive\n", '[constants]\nsite = "Outer"\nplanted_on = "2025-01"')
    assert (values(taken, "site")[0]["name"], values(taken, "coral")[0]["precision"]) == ("Outer", "month")


@pytest.mark.parametrize(
    ("head", "mapping", "told"),
    [
        ("a,b\n1,2\n", "", "no row of headings was found"),
        ("site,tag,seen_on,status,shape\n", "", "the heading “shape” is not known"),
        ("site,tag,seen_on,statsu\n", "", r"the heading “statsu” is not known\. Perhaps: status"),
        (
            "site,tag,seen_on,status\n",
            '[columns]\ntag = "Tags"\nsite = "site"',
            "no heading “Tags”, which the mapping file names. Perhaps: tag",
        ),
        (
            "site,tag,tag,seen_on,status\n",
            '[columns]\ntag = "tag"\nsite="site"',
            r"stands above several columns: tag \[B\], tag \[C\]",
        ),
        ("site,seen_on,status\n", "", "needs a column or a constant for: tag / position"),
        ("site,tag,seen_on,status,planted\n", 'layout = "long"', "“planted” says nothing in the layout “long”"),
        ("site,tag,seen_on,status,predators\n", "", "“predators” is a count for each of several values"),
        ("site,tag,seen_on,status\n", '[words.cause]\nstorm = ["cyclone"]', r"\[words\.cause\] explains nothing"),
        ("site,tag,seen_on,status,cause\n", '[words.cause]\nstrom = ["x"]', "knows no “strom”. Perhaps: storm"),
        ("site,tag,status\n", 'layout = "one_row_per_coral"', "needs a column or a constant for: seen_on"),
        ("site,tag,seen_on,status\n", 'layout = "wide"', r"needs a \[\[visit\]\] for each visit"),
    ],
)
def test_headings_that_do_not_explain_the_columns_are_refused(take_csv: Any, head: str, mapping: str, told: str) -> None:
    with pytest.raises(SheetError, match=told):
        take_csv(head, mapping)

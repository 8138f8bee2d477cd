"""`fieldkit import`: every row accounted for, and nothing written of a sheet that cannot be understood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.cli.terminal import SAMPLES, state_of, typed

HEAD = "site,plot,tag,planted_on,seen_on,status,size_cm"
ROWS = [f"Amo,C,{tag},2024-03-01,2024-06-15,alive,8" for tag in range(301, 321)]

Sheet = Callable[..., Path]


@pytest.fixture
def sheet(tmp_path: Path) -> Sheet:
    """A sheet of twenty corals in plot C, or of other rows."""

    def made(rows: Sequence[str] = ROWS, head: str = HEAD) -> Path:
        (tmp_path / "sheet.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
        return tmp_path / "sheet.csv"

    return made


@pytest.fixture
def mapping(tmp_path: Path) -> Callable[[str], Path]:
    def made(text: str) -> Path:
        (tmp_path / "ours.toml").write_text(text, "utf-8")
        return tmp_path / "ours.toml"

    return made


@pytest.fixture
def row_17_is_wrong() -> list[str]:
    """Rows of which the one in line 17 has a day that no calendar has."""
    return [*ROWS[:15], ROWS[15].replace("2024-06-15", "2024-02-30"), *ROWS[16:]]


def test_a_sheet_that_can_be_understood_is_taken_whole(reef: Path, sheet: Sheet) -> None:
    told = typed(reef, "import", sheet(), "--json")
    assert (told.code, told.json["rows_taken"], told.json["refused"]) == (0, 20, [])


def test_a_wrong_day_is_told_with_its_row_column_value_and_remedy(reef: Path, sheet: Sheet, row_17_is_wrong: list[str]) -> None:
    told = typed(reef, "import", sheet(row_17_is_wrong), "--json")
    (refused,) = told.json["refused"]
    assert {name: refused[name] for name in ("sheet", "row", "column", "value")} == {
        "sheet": "sheet.csv",
        "row": 17,
        "column": "seen_on",
        "value": "2024-02-30",
    }
    assert (told.code, "2025-04-03" in refused["why"]) == (1, True)


def test_a_wrong_day_keeps_its_own_row_out_and_no_other(reef: Path, sheet: Sheet, row_17_is_wrong: list[str]) -> None:
    typed(reef, "import", sheet(row_17_is_wrong))
    seen = typed(reef, "observations", "--where", "plot=C", "--json").json
    assert {row["coral"] for row in seen} == {str(tag) for tag in range(301, 321)} - {"316"}


def test_the_words_for_people_say_the_same(reef: Path, sheet: Sheet, row_17_is_wrong: list[str]) -> None:
    told = typed(reef, "import", sheet(row_17_is_wrong))
    assert told.code == 1 and "sheet.csv, row 17, column “seen_on”, “2024-02-30”:" in told.out
    assert told.lines[-2:] == ["19 rows taken; 19 corals.", "1 row refused."]


def test_a_dry_run_writes_nothing(reef: Path, sheet: Sheet) -> None:
    before = state_of(reef)
    told = typed(reef, "import", sheet(), "--dry-run")
    assert (told.code, "20 rows would be taken" in told.out, state_of(reef)) == (0, True, before)


def test_a_sheet_imported_twice_changes_nothing(reef: Path, sheet: Sheet) -> None:
    typed(reef, "import", sheet())
    before = state_of(reef)
    assert typed(reef, "import", sheet()).code == 0
    assert state_of(reef) == before


def test_a_heading_that_is_not_known_refuses_the_sheet_and_names_the_nearest(reef: Path, sheet: Sheet) -> None:
    before = state_of(reef)
    told = typed(reef, "import", sheet(head=HEAD.replace("status", "statuss")))
    assert told.code == 1 and "sheet.csv" in told.err and "“statuss”" in told.err and "Perhaps: status" in told.err
    assert state_of(reef) == before


def test_a_sheet_without_planting_days_is_taken_and_says_what_that_means(reef: Path, sheet: Sheet) -> None:
    rows = [row.replace("2024-03-01,", "") for row in ROWS]
    told = typed(reef, "import", sheet(rows, HEAD.replace("planted_on,", "")), "--json")
    assert told.code == 0 and any("no planting days" in left["remark"] for left in told.json["remarks"])


def test_corals_without_planting_day_are_counted_as_left_out(reef: Path, sheet: Sheet) -> None:
    rows = [row.replace("2024-03-01,", "") for row in ROWS]
    typed(reef, "import", sheet(rows, HEAD.replace("planted_on,", "")))
    assert typed(reef, "survival", "--limits", "none", "--json").json["left_out"]["no_planting_day"] == 20


def test_an_unknown_word_is_refused_and_asked_about(reef: Path, sheet: Sheet) -> None:
    told = typed(reef, "import", sheet([*ROWS, ROWS[0].replace("301", "399").replace("alive", "fine")]), "--json")
    (ask,) = told.json["asks"]
    assert (told.code, ask["column"], ask["value"], ask["rows"]) == (1, "status", "fine", [22])


def test_an_unknown_key_of_a_mapping_file_is_told_with_its_line_and_the_nearest(
    reef: Path, sheet: Sheet, mapping: Callable[[str], Path]
) -> None:
    before = state_of(reef)
    told = typed(reef, "import", sheet(), "--mapping", mapping('layout = "long"\ndate_oder = "dmy"\n'))
    assert told.code == 1 and "ours.toml, line 2: “date_oder” is not known. Perhaps: date_order" in told.err
    assert state_of(reef) == before


def test_what_is_no_table_is_refused_by_name(reef: Path) -> None:
    before = state_of(reef)
    told = typed(reef, "import", SAMPLES / "programme.zip")
    assert (told.code, "programme.zip" in told.err, state_of(reef)) == (1, True, before)


def test_a_tab_that_is_not_there_is_named_with_the_nearest(reef: Path) -> None:
    told = typed(reef, "import", SAMPLES / "sheets" / "outplants_old_moorings.xlsx", "--sheet", "Nowhere")
    assert (told.code, "outplants_old_moorings.xlsx has no tab “Nowhere”" in told.err) == (1, True)

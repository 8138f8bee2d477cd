"""What a mapping file may say, and that every fault of one is told with its line."""

from __future__ import annotations

import pytest

from fieldkit.register.sheets import Mapping, SheetError, read_mapping
from fieldkit.register.sheets.layout import told_layout


def faults(text: str) -> list[str]:
    with pytest.raises(SheetError) as caught:
        read_mapping(text.encode(), name="m.toml", fields=("bleaching",))
    return caught.value.texts()


def test_an_empty_file_is_the_empty_mapping() -> None:
    assert read_mapping(b"") == Mapping()


def test_a_whole_mapping_is_read() -> None:
    text = """
        layout = "long"
        decimal = ","
        blank = "NA"
        [columns]
        tag = "Coral ID"
        bleaching = "Bleach"
        [status]
        dead = ["DEAD", 0]
        [constants]
        planted_on = 2019-08-01
        """
    assert read_mapping(text.encode(), fields=("bleaching",)) == Mapping(
        layout="long",
        decimal=",",
        blank=("NA",),
        columns={"tag": ("Coral ID",), "bleaching": ("Bleach",)},
        status={"dead": ("DEAD", "0")},
        constants={"planted_on": "2019-08-01"},
    )


def test_comments_and_order_make_no_other_mapping() -> None:
    one = read_mapping(b'layout = "long"\n[columns]\ntag = "T"\nsite = "S"\n')
    other = read_mapping(
        b'# ours\n[columns]\nsite = "S"\ntag = "T"  # metal\n[status]\n'.replace(b"# ours", b'layout = "long"')
    )
    assert one.digest == other.digest


def test_another_word_makes_another_mapping() -> None:
    assert read_mapping(b'[status]\ndead = ["D"]').digest != read_mapping(b'[status]\ndead = ["X"]').digest


def test_an_unknown_key_is_refused_with_the_nearest() -> None:
    assert faults('layuot = "long"') == ["m.toml, line 1: “layuot” is not known. Perhaps: layout."]


def test_an_unknown_name_of_ours_is_refused_with_the_nearest() -> None:
    assert faults('[columns]\n\nstatsu = "Alive?"') == ["m.toml, line 3: “columns.statsu” is not known. Perhaps: status."]


def test_all_faults_are_told_in_the_order_of_their_lines() -> None:
    text = 'layout = "tall"\ndecimal = ";"\n[status]\ndeath = ["D"]\n[columns]\ntag = ""\n'
    assert [told.split(":")[0] for told in faults(text)] == [f"m.toml, line {line}" for line in (1, 2, 4, 6)]


def test_a_blank_cannot_mean_dead() -> None:
    assert "Silence is no observation" in faults('[status]\ndead = ["D", ""]')[0]


def test_a_blank_may_be_said_to_be_not_read() -> None:
    assert read_mapping(b'[status]\nnot_read = [""]').status == {"not_read": ("",)}


def test_a_word_cannot_mean_two_states() -> None:
    assert "“d” stands under “dead” too" in faults('[status]\ndead = ["D"]\nmissing = ["d"]')[0]


def test_a_value_cannot_be_a_column_and_a_constant() -> None:
    assert "not both" in faults('[columns]\nsite = "S"\n[constants]\nsite = "Outer"')[0]


@pytest.mark.parametrize(
    "text",
    [
        "columns = 3",
        "status = 1",
        "[status]\ndead = 1.5",
        "blank = {}",
        "visit = 1",
        "[[visit]]\nseen_on = 2019-08-01",
        "words = []",
    ],
)
def test_a_value_of_another_form_is_refused(text: str) -> None:
    assert faults(text)[0].startswith("m.toml, line ")


def test_what_is_no_toml_is_refused_with_its_line() -> None:
    assert faults('layout = "long"\n[columns\n') == ['m.toml, line 2: not TOML at “[columns”. A line reads: name = "value".']


def test_bytes_that_are_no_utf8_are_refused_with_their_line() -> None:
    with pytest.raises(SheetError, match="line 2: not UTF-8"):
        read_mapping(b'layout = "long"\n# Pe\xf1on\n')


@pytest.mark.parametrize(
    ("headings", "layout"),
    [
        (["site", "tag", "planted_on", "seen_on", "status"], "long"),
        (["site", "tag", "planted_on", "last_alive", "seen_on", "status"], "one_row_per_coral"),
        (["site", "tag", "planted_on", "genotype"], "one_row_per_coral"),
        (["site", "plot", "genotype", "planted_on", "planted", "seen_on", "alive"], "counts"),
    ],
)
def test_the_layout_is_told_from_the_headings_where_one_fits(headings: list[str], layout: str) -> None:
    assert told_layout(headings, "a.csv") == layout


@pytest.mark.parametrize(
    "headings", [["site", "tag", "seen_on"], ["site", "tag", "status", "alive"], ["tag", "seen_on", "dead"]]
)
def test_a_layout_that_is_not_certain_is_asked(headings: list[str]) -> None:
    with pytest.raises(SheetError, match="Set layout in the mapping file"):
        told_layout(headings, "a.csv")

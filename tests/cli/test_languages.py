"""The commands speak the language of whoever types them, in any terminal; what programs read is the same in all."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

from fieldkit.cli import encoding, words
from tests.cli.terminal import ROOT, installed, typed

SPANISH = ROOT / "fieldkit" / "cli" / "locale" / "es" / "LC_MESSAGES"
CLICK = Path(click.__file__).parent


@pytest.mark.parametrize(
    "variables",
    [{"FIELDKIT_LANG": "es"}, {"FIELDKIT_LANG": "", "LANG": "es_MX.UTF-8"}, {"FIELDKIT_LANG": "es", "LANG": "en_US.UTF-8"}],
)
def test_the_language_is_that_of_fieldkit_lang_or_else_of_the_system(variables: dict[str, str]) -> None:
    assert "Toma una hoja de cálculo" in installed("--help", **variables).out


def test_a_language_that_nobody_wrote_yet_is_english() -> None:
    assert "Take in a spreadsheet" in installed("--help", FIELDKIT_LANG="fr").out


def test_what_click_says_by_itself_is_spanish_too() -> None:
    told = installed("mathers", FIELDKIT_LANG="es")
    assert told.err.splitlines()[0].startswith("Uso:") and "No hay ningún comando 'mathers'" in told.err


def test_help_is_spanish_to_the_last_word() -> None:
    english = r"Usage|Options:|Commands:|Show |and exit|\b(FILE|DAY|NAME|TEXT|FLOAT|INTEGER|OPTIONS|ARGS)\b|\bthe\b"
    assert re.findall(english, installed("survival", "--help", FIELDKIT_LANG="es").out) == []


def test_figures_stand_as_the_language_writes_them(sample: Path) -> None:
    told = installed("survival", "--at", "365", "--limits", "none", data=sample, FIELDKIT_LANG="es")
    assert re.search(r"\d\d,\d\N{NO-BREAK SPACE}%", told.out)


def test_json_is_the_same_in_every_language(reef: Path) -> None:
    asked = ("survival", "--limits", "none", "--json")
    assert installed(*asked, data=reef, FIELDKIT_LANG="es").out == typed(reef, *asked).out


def test_a_terminal_without_the_letters_gets_plainer_ones() -> None:
    told = installed("matters", data=Path("nowhere"), PYTHONIOENCODING="cp437")
    assert 'Make one with "fieldkit init"' in told.err


def test_letters_that_a_terminal_has_are_left_as_they_are() -> None:
    told = installed("--help", FIELDKIT_LANG="es", PYTHONIOENCODING="cp437")
    assert "Toma una hoja de c\N{REPLACEMENT CHARACTER}lculo" in told.out  # a byte of code page 437, which is no UTF-8


def test_names_beyond_the_terminals_encoding_reach_programs_whole(reef: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("site,plot,tag,planted_on,seen_on,status\nJardín 珊瑚,Ring 9,1,2024-03-01,2024-06-01,alive\n", "utf-8")
    typed(reef, "import", sheet)
    told = installed("observations", "--where", "plot=Ring 9", "--json", data=reef, PYTHONIOENCODING="cp437")
    assert told.json[0]["site"] == "Jardín 珊瑚"


@pytest.mark.parametrize(
    ("text", "plain"), [("“é” – ñ…", '"e" - n...'), ("83,9\N{NO-BREAK SPACE}%", "83,9 %"), ("珊", "?"), ("plain", "plain")]
)
def test_letters_are_written_as_near_as_ascii_comes(text: str, plain: str) -> None:
    assert encoding.plain(text) == plain


def test_whole_numbers_in_sentences_are_grouped() -> None:
    assert words.say("cli.observations", n=12345) == "12,345 observations"


def test_one_is_singular_and_none_is_plural() -> None:
    assert [words.say("cli.observations", n=n) for n in (0, 1)] == ["0 observations", "1 observation"]


def test_a_level_has_a_decimal_only_where_there_is_one() -> None:
    assert [words.percent(level, "0.#") for level in (0.95, 0.975)] == ["95%", "97.5%"]


def test_the_catalogue_that_click_reads_is_made_from_the_one_people_write() -> None:
    with (SPANISH / "messages.po").open("rb") as written, (SPANISH / "messages.mo").open("rb") as compiled:
        assert _said(read_po(written)) == _said(read_mo(compiled))


def _said(catalogue: Catalog) -> dict[tuple[str, ...], tuple[str, ...]]:
    return {tuple(_forms(message.id)): tuple(_forms(message.string)) for message in catalogue if message.id}


def test_every_sentence_that_is_translated_is_one_of_clicks() -> None:
    code = "\n".join(file.read_text("utf-8") for file in CLICK.glob("*.py"))
    with (SPANISH / "messages.po").open("rb") as written:
        ids = [text for message in read_po(written) if message.id for text in _forms(message.id)]
    assert [text for text in ids if json.dumps(text, ensure_ascii=False) not in code] == []


def _forms(text: str | tuple[str, ...] | list[str]) -> list[str]:
    return [text] if isinstance(text, str) else list(text)


def test_help_loads_nothing_that_only_a_command_needs() -> None:
    code = "import sys\nfrom fieldkit.cli.program import main\ntry: main(['--help'])\nexcept SystemExit: pass\n"
    code += "print({'flask', 'numpy', 'scipy', 'sqlite_utils', 'openpyxl', 'PIL'} & sys.modules.keys(), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stderr.strip() == "set()"

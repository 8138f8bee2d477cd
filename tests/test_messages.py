"""The catalogues and the code agree: every language says the same things, and nothing is said that no text stands for."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from string import Formatter

import pytest
from babel import Locale
from jinja2 import Environment, nodes

from fieldkit import messages

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "fieldkit"
ENGLISH = messages.catalogue("en")
ROOMS = sorted({key.partition(".")[0] for key in ENGLISH})
OTHERS = [language for language in messages.LANGUAGES if language != "en"]

# A text in the shape of a key that is none: a file, the address of a page, or what is said here.
NO_KEYS = {"ledger.digest": "a column, in SQL"}
FILE = re.compile(r".*\.(py|html|css|js|csv|xlsx|toml|json|zip|db|lock)")
PAGE = re.compile(r"""url_for\(\s*["']([a-z_.]+)""")

# The same in both languages, and right so.
SAME = frozenset({"cli.column_coral", "entry.no", "programme.coral", "programme.value_no"})

KEY = re.compile(r"[a-z][a-z_]*\.[a-z][a-z0-9_]*(?<!_)")
BEGINNING = re.compile(r"[a-z][a-z_]*\.([a-z][a-z0-9_]*_)?")
QUOTED = re.compile(r"""["'`]([a-z][a-z0-9_.]*)["'`$]""")


def forms(text: str | Mapping[str, str]) -> Mapping[str, str]:
    return {"": text} if isinstance(text, str) else text


def data_of(text: str | Mapping[str, str]) -> set[str]:
    """What a sentence names: {file}, {row} …; a plural is chosen by n."""
    fields = (name for form in forms(text).values() for _, name, _, _ in Formatter().parse(form) if name is not None)
    return {re.split(r"[.\[]", name)[0] for name in fields} | (set() if isinstance(text, str) else {"n"})


@cache
def trees() -> list[tuple[str, ast.Module]]:
    sources = [*PACKAGE.rglob("*.py"), *(ROOT / "scripts").glob("*.py")]
    return [(str(path.relative_to(ROOT)), ast.parse(path.read_text("utf-8"))) for path in sorted(sources)]


@cache
def literals() -> dict[str, str]:
    """Every text that stands in quotes in code, pages and templates, and a file it stands in."""
    found: dict[str, str] = {}
    for file, tree in trees():
        found |= {node.value: file for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    for path in sorted([*PACKAGE.rglob("*.html"), *(ROOT / "static").rglob("*.js"), *(ROOT / "static").rglob("*.html")]):
        if "vendor" not in path.parts:
            found |= dict.fromkeys(QUOTED.findall(path.read_text("utf-8")), str(path.relative_to(ROOT)))
    return found


@cache
def beginnings() -> set[str]:
    """What keys begin with that code puts together, as in f"settle.{kind}" or "settle." ~ kind."""
    parts = [node.values for _, tree in trees() for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    started = {str(first.value) for first, *_ in parts if isinstance(first, ast.Constant)}
    return {text for text in started | set(literals()) if BEGINNING.fullmatch(text) and text.partition(".")[0] in ROOMS}


def addresses() -> set[str]:
    """The pages that other pages link to, as blueprint and function."""
    sources = [*PACKAGE.rglob("*.html"), *PACKAGE.rglob("*.py")]
    return {name for path in sources for name in PAGE.findall(path.read_text("utf-8"))}


def is_used(key: str) -> bool:
    return key in literals() or any(key.removeprefix(start) in literals() for start in beginnings() if key.startswith(start))


Said = tuple[str, str, set[str] | None]  # where, which key, and with what data (None where it is not spelt out there)


def calls() -> Iterator[Said]:
    """Each call that says a sentence."""
    for file, tree in trees():
        for call in ast.walk(tree):
            if isinstance(call, ast.Call) and (key := _key_of(call)):
                yield f"{file}:{call.lineno}", key, _data_given(call)
    for path in sorted(PACKAGE.rglob("*.html")):
        for spoken in Environment().parse(path.read_text("utf-8")).find_all(nodes.Call):
            name, first = getattr(spoken.node, "name", ""), next(iter(spoken.args), None)
            if name == "t" and isinstance(first, nodes.Const):
                yield f"{path.name}:{spoken.lineno}", first.value, {keyword.key for keyword in spoken.kwargs}


def _key_of(call: ast.Call) -> str | None:
    first = call.args[0] if call.args else None
    is_key = isinstance(first, ast.Constant) and isinstance(first.value, str) and KEY.fullmatch(first.value)
    return str(first.value) if is_key and _called(call) in ("Fault", "of", "text", "say", "SetupError") else None


def _data_given(call: ast.Call) -> set[str] | None:
    if _called(call) != "Fault":
        return {str(keyword.arg) for keyword in call.keywords} if all(keyword.arg for keyword in call.keywords) else None
    given = call.args[1] if len(call.args) > 1 else ast.Dict([], [])
    if not isinstance(given, ast.Dict) or None in given.keys:
        return None
    return {str(ast.literal_eval(key)) for key in given.keys if key is not None}


def _called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_keys(language: str) -> None:
    assert messages.catalogue(language).keys() == ENGLISH.keys()


@pytest.mark.parametrize("language", OTHERS)
def test_a_sentence_names_the_same_data_in_every_language(language: str) -> None:
    others = messages.catalogue(language)
    differing = {key: data_of(text) ^ data_of(others[key]) for key, text in ENGLISH.items() if key in others}
    assert not {key: data for key, data in differing.items() if data}


@pytest.mark.parametrize("language", OTHERS)
def test_what_has_plural_forms_has_them_in_every_language(language: str) -> None:
    others = messages.catalogue(language)
    assert [key for key, text in ENGLISH.items() if isinstance(text, str) != isinstance(others.get(key, text), str)] == []


@pytest.mark.parametrize("language", messages.LANGUAGES)
@pytest.mark.parametrize("n", [0, 1, 2, 11, 1_000, 1_000_000])
def test_every_count_finds_its_plural_form(language: str, n: int) -> None:
    plurals = {key: text for key, text in messages.catalogue(language).items() if not isinstance(text, str)}
    assert [key for key, text in plurals.items() if not messages.text(key, language, **dict.fromkeys(data_of(text), n))] == []


@pytest.mark.parametrize("language", messages.LANGUAGES)
def test_only_the_plural_forms_that_a_language_has_are_written(language: str) -> None:
    known = {*Locale.parse(language).plural_form.tags, "other"}
    assert [key for key, text in messages.catalogue(language).items() if not set(forms(text)) <= known | {""}] == []


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_was_left_in_english(language: str) -> None:
    same = {key for key, text in messages.catalogue(language).items() if text == ENGLISH.get(key)}
    assert sorted(same - SAME) == []


@pytest.mark.parametrize("language", messages.LANGUAGES)
def test_no_sentence_is_empty_or_has_blanks_at_its_ends(language: str) -> None:
    texts = [(key, form) for key, text in messages.catalogue(language).items() for form in forms(text).values()]
    assert [key for key, form in texts if not form or form != form.strip()] == []


def test_every_key_in_the_code_has_a_sentence() -> None:
    written = {text: file for text, file in literals().items() if KEY.fullmatch(text) and text.partition(".")[0] in ROOMS}
    said = {key: place for place, key, _ in calls()}
    missing = (written | said).keys() - ENGLISH.keys() - NO_KEYS.keys() - addresses()
    assert {key: (written | said)[key] for key in missing if not FILE.fullmatch(key)} == {}


def test_what_code_puts_keys_together_from_begins_some_sentence() -> None:
    assert [start for start in beginnings() if not any(key.startswith(start) for key in ENGLISH)] == []


def test_every_sentence_is_said_somewhere() -> None:
    assert [key for key in ENGLISH if not is_used(key)] == []


def test_whoever_says_a_sentence_gives_it_the_data_it_names() -> None:
    spelt_out = [(place, key, given) for place, key, given in calls() if given is not None and key in ENGLISH]
    assert [
        (place, key, data_of(ENGLISH[key]) - given) for place, key, given in spelt_out if data_of(ENGLISH[key]) - given
    ] == []


def test_what_is_allowed_here_is_still_needed() -> None:
    assert [text for text in NO_KEYS if text not in literals()] == []
    assert [key for key in SAME if key not in ENGLISH] == []

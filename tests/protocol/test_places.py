"""Lines of keys: compared with what `tomllib` itself finds in the text."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol.places import depth, line_of, places
from fieldkit.shipped import SAMPLE_SURVEYS

FILES = [
    Path(__file__).parent.parent / "cases" / "protocol" / "every_kind.toml",
    *(SAMPLE_SURVEYS / "protocols").glob("*.toml"),
]


def paths(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every path that leads somewhere in a parsed file."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, one in inner:
        yield (*path, name)
        yield from paths(one, (*path, name))


@pytest.mark.parametrize("file", FILES, ids=[file.name for file in FILES])
def test_every_key_of_a_real_file_has_its_line(file: Path) -> None:
    text = file.read_text("utf-8")
    found, lines = places(text), text.split("\n")
    for path in paths(tomllib.loads(text)):
        if isinstance(path[-1], str) and path not in {("field",), ("round",), ("event_visit",)}:
            assert path[-1] in lines[found[path] - 1], path


@pytest.mark.parametrize(
    ("text", "path", "line"),
    [
        ("a = 1\nb = 2", ("b",), 2),
        ("\n\n[t]\na = 1", ("t", "a"), 4),
        ("[[f]]\na = 1\n[[f]]\na = 2", ("f", 1, "a"), 4),
        ("[[f]]\n[f.g]\na = 1\n[[f]]\n[f.g]\na = 1", ("f", 1, "g", "a"), 6),
        ("[[f]]\n[[f.g]]\n[[f.g]]\n[[f]]\n[[f.g]]\na = 1", ("f", 1, "g", 0, "a"), 6),
        ("a.b.c = 1\nd = 2", ("a", "b", "c"), 1),
        ("a = [\n 1,\n # 2\n 3,\n]", ("a", 1), 4),
        ("a = [\n { b = 1 },\n { b = 2, c = [\n 1 ] } ]", ("a", 1, "c", 0), 4),
        ('a = """\n[[f]]\nb = 1\n"""\nb = 2', ("b",), 5),
        ('a = """x\\""""\nb = 2', ("b",), 2),
        ('a = """"x""""\nb = 2', ("b",), 2),
        ("a = '''\n'''\nb = 2", ("b",), 3),
        ("a = ''\nb = 2", ("b",), 2),
        ('a = ""\nb = 2', ("b",), 2),
        ("a = '\\'\nb = 2", ("b",), 2),
        ('a = "]#" # [\nb = 2', ("b",), 2),
        ('"a b" = 1\n"c\\u0064" = 2', ("cd",), 2),
        ("'a.b'.c = 1\nd = 2", ("a.b", "c"), 1),
        ("a = 1.5\nb = 1979-05-27 07:32:00.5\nc = 3", ("c",), 3),
        ("a = [[], [\n{}], []]\nb = 2", ("b",), 3),
        ("a = {}\nb = 2", ("b",), 2),
    ],
)
def test_a_key_is_found_on_its_line(text: str, path: tuple[str | int, ...], line: int) -> None:
    assert path in set(paths(tomllib.loads(text)))
    assert places(text)[path] == line


def test_what_is_not_there_has_the_line_of_what_should_hold_it() -> None:
    lines = places("[a]\nb = 1\n")
    assert [line_of(path, lines) for path in (("a", "c"), ("a", "b", 3), ("x", "y"))] == [1, 2, 1]


def test_depth_counts_brackets_and_parts_of_names_but_not_what_is_quoted() -> None:
    texts = ["a = 1", "a = [[]]", "a.b.c.d = 1", 'a = "[[[[a.b.c.d"', "# [[[[", "a = 1.5", "a = [1, [2], [3]]"]
    assert [depth(text) for text in texts] == [0, 2, 3, 0, 0, 1, 2]


KEYS = st.sampled_from(["a", "b", '"c d"', "'e.f'", '"#"', "g-1", "_"])
SCALARS = st.sampled_from(
    ['"x"', "'y'", "1", "1.5", "true", '"""\n[[a]]\n"""', "'''\n'''", '"\\""', "1979-05-27", '""', "''", '"#"']
)


def inline_list(elements: list[str]) -> str:
    return "[\n" + ", # x\n".join(elements) + "\n]"


def inline_table(pairs: dict[str, str]) -> str:
    return "{" + ", ".join(f"{key} = {value}" for key, value in pairs.items()) + "}"


def nested(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.lists(inner, max_size=3).map(inline_list) | st.dictionaries(KEYS, inner, max_size=3).map(inline_table)


INLINE = st.recursive(SCALARS, nested, max_leaves=6)
PAIRS = st.tuples(KEYS, INLINE).map(" = ".join) | st.tuples(KEYS, KEYS, SCALARS).map(
    lambda part: f"{part[0]} . {part[1]} = {part[2]}"
)
LINES = PAIRS | KEYS.map("[{}]".format) | KEYS.map("[[{}]]".format) | st.just("# note")


@given(lines=st.lists(LINES, max_size=12))
def test_every_path_of_any_toml_has_a_line_and_no_other_path_has(lines: list[str]) -> None:
    text = "\n".join(lines)
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    tables = {path[:-1] for path in paths(parsed) if isinstance(path[-1], int)}  # a [[list]] is marked by its elements
    assert set(places(text)) | tables == set(paths(parsed)) | tables

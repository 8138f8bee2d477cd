"""On which line each key of a TOML text stands.

`tomllib` gives values and no places, and a fault without its line sends a person searching through a hundred of them.
This walks over a text that `tomllib` has already taken, so it may trust the grammar: it only keeps count of where it is.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping

Path = tuple[str | int, ...]

# Strings and comments first, so that a bracket or a line end within them is not taken for one.
_TOKEN = re.compile(
    r'''
    """(?:[^\\]|\\.)*?"{3,5} | \'\'\'.*?\'{3,5} | "(?:[^"\\]|\\.)*" | '[^']*'  # strings
    | \#[^\n]*                                                             # comments
    | [\[\]{}=,.\n]                                                       # marks
    | [^\s\[\]{}=,.\#"']+                                                # bare names and values
    ''',
    re.VERBOSE | re.DOTALL,
)
_OPENS, _CLOSES = ("[", "{"), ("]", "}")
_MARKS = (*_OPENS, *_CLOSES, "=", ",", "\n")


def depth(text: str) -> int:
    """How deep brackets nest, or names of dotted parts go, whichever is more; at most what is there, also in broken TOML.

    To be asked before `tomllib`: a name of 100 000 parts takes the square of that in memory there, and brackets end its stack.
    """
    open_brackets = parts = deepest = 0
    for token, _ in _tokens(text):
        open_brackets = max(0, open_brackets + (token in _OPENS) - (token in _CLOSES))
        parts = parts + 1 if token == "." else parts * (token not in _MARKS)
        deepest = max(deepest, open_brackets, parts)
    return deepest


def places(text: str) -> dict[Path, int]:
    """Line (from 1) of every table, key and list element of a valid TOML text, by path: `("field", 2, "label", "en")`."""
    return _Walk(text).document()


def line_of(path: Path, lines: Mapping[Path, int]) -> int:
    """The line where a path stands; for what is not there, the line of the nearest thing that should hold it."""
    return next((lines[path[:end]] for end in range(len(path), 0, -1) if path[:end] in lines), 1)


class _Walk:
    def __init__(self, text: str) -> None:
        self.tokens = list(_tokens(text))
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.tables: dict[Path, int] = {}  # how many [[of these]] there were so far

    def document(self) -> dict[Path, int]:
        table: Path = ()
        while self.at < len(self.tokens):
            if self.skip("\n"):
                continue
            if self.peek() == "[":
                table = self.header()
            else:
                self.pair(table)
        return self.lines

    def peek(self) -> str:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else "\n"

    def skip(self, token: str) -> bool:
        found = self.at < len(self.tokens) and self.peek() == token
        self.at += found
        return found

    def until(self, token: str) -> bool:
        """Whether there is more before this token, which is taken when met. The end of the text ends everything."""
        return self.at < len(self.tokens) and not self.skip(token)

    def mark(self, path: Path) -> None:
        self.lines.setdefault(path, self.tokens[self.at][1])

    def header(self) -> Path:
        start = self.at
        self.skip("[")
        is_list = self.skip("[")
        *outer, last = self.name("]")
        path: Path = ()
        for part in outer:
            path = self.current((*path, part))
        path = (*path, last)
        if is_list:
            self.tables[path] = self.tables.get(path, -1) + 1
        path = self.current(path)
        self.at, end = start, self.at
        self.mark(path)
        self.at = end + is_list
        return path

    def current(self, path: Path) -> Path:
        """`field` means the latest [[field]] from here on."""
        return (*path, self.tables[path]) if path in self.tables else path

    def name(self, end: str) -> list[str]:
        """The parts of a dotted name up to a closing mark, which is taken too."""
        parts: list[str] = []
        while self.until(end):
            if not self.skip("."):
                parts.append(_unquoted(self.peek()))
                self.at += 1
        return parts

    def pair(self, table: Path) -> None:
        start = self.at
        parts = self.name("=")
        self.at, value = start, self.at
        for end in range(1, len(parts) + 1):
            self.mark((*table, *parts[:end]))
        self.at = value
        self.value((*table, *parts))

    def value(self, path: Path) -> None:
        if self.skip("["):
            self.elements(path)
        elif self.skip("{"):
            while self.until("}"):
                if not (self.skip(",") or self.skip("\n")):
                    self.pair(path)
        else:
            while self.peek() not in (",", "]", "}", "\n"):
                self.at += 1

    def elements(self, path: Path) -> None:
        index = 0
        while self.until("]"):
            if self.skip(",") or self.skip("\n"):
                continue
            self.mark((*path, index))
            self.value((*path, index))
            index += 1


def _tokens(text: str) -> Iterable[tuple[str, int]]:
    line, counted = 1, 0
    for found in _TOKEN.finditer(text):
        line += text.count("\n", counted, found.start())
        counted = found.start()
        if not found.group().startswith("#"):
            yield found.group(), line


def _unquoted(part: str) -> str:
    if part[0] not in "\"'":
        return part
    return str(tomllib.loads(f"key = {part}")["key"])

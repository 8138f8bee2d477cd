"""The entry page and its libraries as one file, without comments: a phone asks once instead of sixty times, and one stream
packs better than many small ones. Nothing is built beforehand: they are joined as the server starts, and each runs alone, too.

They are laid one after the other, each behind what it imports, in one scope: what a module imports is there already, under the
same name. That needs no parser of JavaScript as long as the modules keep to a few forms, and whoever leaves them is told so:

    import { a, b } from "./other.js";     import htm from "htm";     export function …     export { a };

No two modules may have one name for two things outside their functions, and none the name of something of the browser's (a
test asks one); two modules cannot import each other. A library, whose names are anybody's, stands in a function of its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

_IMPORT = re.compile(r'^import\s+(?:\{([^}]*)\}|(\w+))\s+from\s+"([^"]+)";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const)\b)|^export \{[^}]*\};$", re.MULTILINE)
_STRANGE = re.compile(r"^(?:import|export)\b.*$|^(?:const|let) [{[].*$", re.MULTILINE)
# Outside every function: not indented.
_NAMED = re.compile(r"^(?:export )?(?:async )?(?:function\*?|class|const|let) +(\w+)", re.MULTILINE)
# How libraries are published: some of them squeezed, so that nothing stands on a line of its own.
_LIBRARY_IMPORT = re.compile(r'\bimport\s*\{([^}]*)\}\s*from\s*"([^"]+)";?')
_LIBRARY_EXPORT = re.compile(r'\bexport\s*\{([^}]*)\}(?:\s*from\s*"([^"]+)")?;?')
_DEFAULT = "export default "
_BEHIND = re.compile(r'(?<=[;,{}])\s+// [^"`]*$')


class JoinError(Exception):
    """A module of the page is written in a form that joining does not know: a fault of ours, told as the server starts."""


@dataclass
class Joining:
    """Modules joined so far.

    Attributes:
        published: of each library, by the name it is imported under, its file.
        names: of each name outside functions, the module or library that gives it.
        libraries: of each library that stands already, the name of what it gives; `bound`: the libraries themselves.
        wanted: of each library, what modules import of it.
        parts: the modules.
    """

    folder: Path
    published: Mapping[str, Path] = field(default_factory=dict)
    done: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)
    libraries: dict[str, str] = field(default_factory=dict)
    bound: list[str] = field(default_factory=list)
    wanted: dict[str, list[str]] = field(default_factory=dict)
    parts: list[str] = field(default_factory=list)

    def add(self, path: str) -> None:
        """Lay a module behind all that it imports."""
        if path in self.done:
            return
        if path in self.open:
            raise JoinError(f"{path} imports itself by way of {', '.join(self.open)}")
        self.open.append(path)
        written = (self.folder / path).read_text("utf-8")
        for found in _IMPORT.finditer(written):
            self._import(path, *found.groups())
        rest = _EXPORT.sub("", _IMPORT.sub("", written))
        if strange := _STRANGE.search(rest):
            raise JoinError(f"{path}: {strange.group()}")
        for name in _NAMED.findall(rest):
            self._name(name, path)
        self.parts.append(without_comments(rest))
        self.open.pop()
        self.done.append(path)

    def _import(self, path: str, names: str | None, default: str | None, source: str) -> None:
        wanted = [name.strip() for name in (names or "").split(",") if name.strip()]
        if any(" as " in name for name in wanted):
            raise JoinError(f"{path}: {names} from {source}: another name for the same thing")
        if source.startswith("."):
            other = _resolved(path, source)
            self.add(other)
            if missing := [name for name in wanted if name not in self.names]:
                raise JoinError(f"{path}: {other} has no {', '.join(missing)}")
            return
        self._library(source)
        for name in wanted or [str(default)]:
            if name not in self.names:
                self.wanted.setdefault(source, []).append(name if wanted else f"default: {name}")
            self._name(name, source)

    def _library(self, source: str) -> str:
        """The name of a library, which stands from now on."""
        if source in self.libraries:
            return self.libraries[source]
        if source not in self.published:
            raise JoinError(f"{source} is no library of the page")
        text, given = without_comments(self.published[source].read_text("utf-8")), list[str]()

        def imported(found: re.Match[str]) -> str:
            return f"const {{ {_pairs(found[1], 'imported')} }} = {self._library(found[2])};"

        def exported(found: re.Match[str]) -> str:
            given.append(_pairs(found[1], "exported") if found[2] is None else f"...{self._library(found[2])}")
            return ""

        text = _LIBRARY_EXPORT.sub(exported, _LIBRARY_IMPORT.sub(imported, text))
        if _DEFAULT in text:
            text = text.replace(_DEFAULT, "const standard = ", 1)
            given.append("default: standard")
        if strange := re.search(r"\b(?:import|export)\b(?!\()[^;]{0,60}", text):
            raise JoinError(f"{source}: {strange.group()}")
        name = self.libraries[source] = f"vendor{len(self.libraries)}"
        self.bound.append(f"const {name} = (() => {{\n{text}return {{ {', '.join(given)} }};\n}})();\n")
        return name

    def whole(self) -> str:
        """Libraries, what is taken of them, and the modules behind."""
        taken = [f"const {{ {', '.join(names)} }} = {self.libraries[source]};\n" for source, names in self.wanted.items()]
        return "".join(self.bound + taken + self.parts)

    def _name(self, name: str, giver: str) -> None:
        if self.names.setdefault(name, giver) != giver:
            raise JoinError(f"{name} is a name in {self.names[name]} and in {giver}")


def join(folder: Path, first: str, published: Mapping[str, Path]) -> str:
    """The module `first` and all that it imports below `folder`, as one module.

    Args:
        published: of each library, by the name it is imported under, its file.

    Raises:
        JoinError: a module leaves the forms above.
    """
    joining = Joining(folder, published)
    joining.add(first)
    return re.sub(r"\n{2,}", "\n", joining.whole())


def without_comments(source: str) -> str:
    """Without comments and indentation. Of comments behind code those go that nobody could take for a piece of text: they
    follow a mark that ends something, and hold no quotation mark."""
    return "\n".join(_code_lines(source)) + "\n"


def _code_lines(source: str) -> Iterator[str]:
    is_comment = False
    for line in source.splitlines():
        text = line.strip()
        if is_comment or text.startswith("/*"):
            is_comment = "*/" not in text
        elif text and not text.startswith("//"):
            yield _BEHIND.sub("", text)


def _pairs(names: str, way: str) -> str:
    """`a as b` of an import or an export as it stands where an object is taken apart, or made."""
    pairs = [name.split(" as ") for name in names.replace("\n", " ").split(",") if name.strip()]
    turned = [pair if way == "imported" else pair[::-1] for pair in pairs]
    return ", ".join(": ".join(part.strip() for part in pair) for pair in turned)


def _resolved(path: str, source: str) -> str:
    parts: list[str] = []
    for part in (PurePosixPath(path).parent / source).parts:
        if part == "..":
            parts.pop()
        elif part != ".":
            parts.append(part)
    return "/".join(parts)

"""The modules of the entry page as one file, without comments: a phone asks once instead of sixty times, and one stream packs
better than many small ones. Nothing is built beforehand: the modules are joined as the server starts, and each runs alone, too.

Each module becomes a function that gives what it exports; imports become what an earlier one gave. That needs no parser of
JavaScript as long as the modules keep to a few forms, and whoever leaves them is told so:

    import { a, b as c } from "./other.js";     import htm from "htm";     export function …     export { a };

What is exported is given once, so a `let` cannot be; two modules cannot import each other.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

_IMPORT = re.compile(r'^import\s+(?:\{([^}]*)\}|(\w+))\s+from\s+"([^"]+)";$', re.MULTILINE)
_EXPORTED = re.compile(r"^export (?=(?:async )?function\*? (\w+)|class (\w+)|const (\w+))", re.MULTILINE)
_LIST = re.compile(r"^export \{([^}]*)\};$", re.MULTILINE)
_STRANGE = re.compile(r"^(?:import|export)\b.*$", re.MULTILINE)
_BEHIND = re.compile(r'(?<=[;,{}])\s+// [^"`]*$')
_WAITS = re.compile(r"^(?:\w.* = )?await ", re.MULTILINE)  # outside every function: not indented


class JoinError(Exception):
    """A module of the page is written in a form that joining does not know: a fault of ours, told as the server starts."""


@dataclass
class _Joining:
    folder: Path
    done: dict[str, str] = field(default_factory=dict)
    """Of each module that stands already, by its path, the name it has."""
    open: list[str] = field(default_factory=list)
    libraries: dict[str, str] = field(default_factory=dict)
    parts: list[str] = field(default_factory=list)

    def add(self, path: str) -> str:
        if path in self.done:
            return self.done[path]
        if path in self.open:
            raise JoinError(f"{path} imports itself by way of {', '.join(self.open)}")
        self.open.append(path)
        written = (self.folder / path).read_text("utf-8")
        source = without_comments(written)
        imports = "".join(self._imported(path, *found.groups()) for found in _IMPORT.finditer(source))
        body, exports = _exports(_IMPORT.sub("", source))
        if strange := _STRANGE.search(body):
            raise JoinError(f"{path}: {strange.group()}")
        name = f"m{len(self.done)}"
        opening, closing = ("await (async ", "()") if _WAITS.search(written) else ("(", "()")
        self.parts.append(
            f"const {name} = {opening}() => {{\n{imports}{body}\nreturn {{ {', '.join(exports)} }};\n}}){closing};\n"
        )
        self.open.pop()
        self.done[path] = name
        return name

    def _imported(self, path: str, names: str | None, default: str | None, source: str) -> str:
        if source.startswith("."):
            given = self.add(_resolved(path, source))
        else:
            given = self.libraries.setdefault(source, f"l{len(self.libraries)}")
        wanted = _renamed(names) if names else f"default: {default}"
        return f"const {{ {wanted} }} = {given};\n"


def join(folder: Path, first: str) -> str:
    """The module `first` and all that it imports below `folder`, as one module. Libraries stay imports.

    Raises:
        JoinError: a module leaves the forms above.
    """
    joining = _Joining(folder)
    joining.add(first)
    libraries = "".join(f'import * as {name} from "{source}";\n' for source, name in joining.libraries.items())
    return re.sub(r"\n{2,}", "\n", libraries + "".join(joining.parts))


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


def _exports(body: str) -> tuple[str, list[str]]:
    names = [next(filter(None, found.groups())) for found in _EXPORTED.finditer(body)]
    for found in _LIST.finditer(body):
        names += [name.strip() for name in found.group(1).split(",") if name.strip()]
    return _LIST.sub("", _EXPORTED.sub("", body)), names


def _renamed(names: str) -> str:
    """`a, b as c` as it stands where an object is taken apart: `a, b: c`."""
    return ", ".join(re.sub(r"\s+as\s+", ": ", name.strip()) for name in names.split(",") if name.strip())


def _resolved(path: str, source: str) -> str:
    parts: list[str] = []
    for part in (PurePosixPath(path).parent / source).parts:
        if part == "..":
            parts.pop()
        elif part != ".":
            parts.append(part)
    return "/".join(parts)

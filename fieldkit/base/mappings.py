"""The mappings that a programme keeps, each a TOML file in its folder: used for the next sheet, and to give a sheet back.

They lie beside the ledger, not in it: they say how somebody's sheets are read, nothing of the reef.
"""

from __future__ import annotations

import re
from pathlib import Path

from fieldkit.base.errors import SayError

_NAME = re.compile(r"[\w-][\w .-]{0,59}")  # no folder, no hidden file, on any system


class SavedMappings:
    """The mappings in a folder, by name."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> list[str]:
        return sorted(path.stem for path in self._folder.glob("*.toml"))

    def read(self, name: str) -> bytes:
        """The file of that name.

        Raises:
            SayError: there is none.
        """
        try:
            return self._path(name).read_bytes()
        except FileNotFoundError as error:
            raise SayError.of("base.no_such_mapping", name=name, known=", ".join(self.names()) or "-") from error

    def save(self, name: str, text: str) -> None:
        """Keep a mapping under a name; one that was there is replaced, in one step.

        Raises:
            SayError: no name for a file.
        """
        path = self._path(name)
        self._folder.mkdir(exist_ok=True)
        beside = path.with_suffix(".new")
        beside.write_text(text, "utf-8", newline="\n")
        beside.replace(path)

    def _path(self, name: str) -> Path:
        if not _NAME.fullmatch(name) or name != name.strip():
            raise SayError.of("base.no_mapping_name", name=name[:60])
        return self._folder / f"{name}.toml"

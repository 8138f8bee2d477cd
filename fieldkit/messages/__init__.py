"""Every sentence a person may read, in every language that fieldkit speaks.

One TOML file a room and language: `en/ledger.toml` holds the texts whose keys begin with `ledger.`. A text may
name its data in braces, `{file}`; where it depends on a count `n` it is a table of plural forms:

    [rows_taken]
    one = "{n} row taken"
    other = "{n} rows taken"

Reads only. A missing key is a fault of ours, not of the person reading: it raises `KeyError`, and a test holds every
language to the same keys with the same data.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from babel import Locale

LANGUAGES = ("en", "es")
DEFAULT = "en"


@cache
def catalogue(language: str) -> dict[str, str | dict[str, str]]:
    """All texts of a language by key (`room.name`); a text with plural forms is a mapping from form to text."""
    texts: dict[str, str | dict[str, str]] = {}
    for room in files(__package__).joinpath(language).iterdir():
        if room.name.endswith(".toml"):
            prefix = room.name.removesuffix(".toml")
            for name, text in tomllib.loads(room.read_text("utf-8")).items():
                texts[f"{prefix}.{name}"] = text
    return texts


def text(key: str, language: str = DEFAULT, /, **data: Any) -> str:
    """The sentence for `key` with its data filled in; the plural form is chosen by `n`.

    Raises:
        KeyError: no such key in that language, or a datum that the text names is not given.
    """
    found = catalogue(language)[key]
    if isinstance(found, dict):
        found = found[Locale.parse(language).plural_form(data["n"])]
    return found.format(**data)


def choose(accepted: list[str]) -> str:
    """The first language of a person's list ("es-MX", "fr", …) that we speak, else English."""
    for tag in accepted:
        language = tag.replace("_", "-").split("-")[0].lower()
        if language in LANGUAGES:
            return language
    return DEFAULT

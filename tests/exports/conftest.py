"""The sample programme, taken out in every form once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from io import BytesIO
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.exports import Scope, export

TakenOut = Callable[..., bytes]


@pytest.fixture(scope="session")
def base(sample: Path) -> Base:
    return Base(sample)


@pytest.fixture(scope="session")
def taken_out(base: Base) -> TakenOut:
    """The bytes of a form: `taken_out("csv", table="corals", places="exact")`."""

    @cache
    def made(form: str, table: str | None = None, **scope: str | bool) -> bytes:
        file = BytesIO()
        with base.view() as view:
            export(base, view, file, form, Scope(**scope), table=table)  # type: ignore[arg-type]
        return file.getvalue()

    return made

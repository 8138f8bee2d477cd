"""One protocol with a field of every kind, as text and as read."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.protocol import Protocol, read_protocol

EVERY_KIND = Path(__file__).parent.parent / "cases" / "protocol" / "every_kind.toml"


@pytest.fixture(scope="session")
def every_kind_text() -> str:
    return EVERY_KIND.read_text("utf-8")


@pytest.fixture(scope="session")
def every_kind(every_kind_text: str) -> Protocol:
    return read_protocol(every_kind_text.encode(), name=EVERY_KIND.name)

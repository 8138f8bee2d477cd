"""A base with who may speak to it, and its API as a device would ask it."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.server import create_app
from tests.support.programme import base_of


@pytest.fixture
def base(tmp_path: Path) -> Base:
    return base_of(tmp_path / "base")


@pytest.fixture
def access(base: Base) -> Access:
    return Access(base.folder)


@pytest.fixture
def client(base: Base, access: Access) -> FlaskClient:
    return create_app(base, access).test_client()

"""Pages as a browser would ask for them."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from tests.server.asking import reef
from tests.support.programme import base_of


@pytest.fixture
def base(tmp_path: Path) -> Base:
    made = reef()
    found = base_of(tmp_path / "base", made.entries(), [made.protocol])
    found.adopt(made.protocol)
    return found


@pytest.fixture
def client(base: Base) -> FlaskClient:
    return create_app(base).test_client()

"""What the page decides from values alone, each module asked by itself in the browser: the same answers as the base's."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from fieldkit.protocol import number, read_protocol
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.browser.entry.conftest import Shore

CASES = Path(__file__).parents[2] / "cases" / "protocol"

"""Where `static/` and `sample_surveys/` lie: beside the package in a checkout, inside it when installed from the wheel."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parent
_INSIDE = _PACKAGE / "_shipped"
_ROOT = _INSIDE if _INSIDE.is_dir() else _PACKAGE.parent

STATIC = _ROOT / "static"
SAMPLE_SURVEYS = _ROOT / "sample_surveys"

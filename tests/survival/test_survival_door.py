"""What the room offers to others."""

from __future__ import annotations

import fieldkit.survival as door


def test_every_public_name_is_listed_and_there() -> None:
    own = {name for name, thing in vars(door).items() if getattr(thing, "__module__", "").startswith("fieldkit.survival")}
    assert own == set(door.__all__)


def test_every_public_name_says_what_it_is() -> None:
    assert [name for name in door.__all__ if not (getattr(door, name).__doc__ or "").strip()] == []

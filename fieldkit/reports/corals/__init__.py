"""Corals one by one: found by what they are called and where they stand, and the life of each as far as it is known."""

from fieldkit.reports.corals.find import Found, Listed, Wanted, find
from fieldkit.reports.corals.life import CoralLife, as_json, coral_life
from fieldkit.reports.corals.said import Action, Matter, Picture, Ruled, Seen
from fieldkit.reports.corals.sizes import Measured, sizes

__all__ = [
    "Action",
    "CoralLife",
    "Found",
    "Listed",
    "Matter",
    "Measured",
    "Picture",
    "Ruled",
    "Seen",
    "Wanted",
    "as_json",
    "coral_life",
    "find",
    "sizes",
]

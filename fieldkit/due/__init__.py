"""What is to be done next, and by whom nothing is decided: which plots are due, which corals need a hand, what fits in a day.

It plans work, not dives. The date as of which is asked is always given; nothing here asks a clock.
"""

from fieldkit.due.day_plan import DayPlan, Dive, Job, day_plan
from fieldkit.due.draw import drawn
from fieldkit.due.hands import DONE, Need
from fieldkit.due.overview import CoralNeeds, Due, PlotDue, carried, due
from fieldkit.due.schedule import Event, Visit, Window

__all__ = [
    "DONE",
    "CoralNeeds",
    "DayPlan",
    "Dive",
    "Due",
    "Event",
    "Job",
    "Need",
    "PlotDue",
    "Visit",
    "Window",
    "carried",
    "day_plan",
    "drawn",
    "due",
]

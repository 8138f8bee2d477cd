"""One story with everything in it, which tests of order, repetition and fates tell to bases in their own ways."""

from __future__ import annotations

from pathlib import Path

from fieldkit.ledger import Entry
from tests.base.world import World
from tests.support.programme import name

IMPORT = "e" * 64


class Story:
    """A world after some dives; entries that a test wants to speak of have names."""

    def __init__(self, folder: Path) -> None:
        self.world = world = World(folder)
        site = world.reef.site
        world.open_book(role="lead").say("boat_day", {"boat_day": name("boat day"), "day": "2024-06-01", "site": site})
        first, second = world.dive("2024-06-01", site), world.dive("2024-07-02", site)
        self.alive = world.see(first, "A", {"tag": "101"}, "alive", size_cm="12")
        self.dead = world.see(second, "A", {"tag": "101"}, "dead")
        world.see(first, "A", {"coral": name("coral", "102")}, "alive")
        world.see(second, "A", {"coral": name("coral", "102")}, "alive")
        self.misread = world.see(first, "A", {"tag": "1O1"}, "alive")
        self.unreached = world.see(first, "B", {"tag": "201"}, "alive", searched="no")
        self.mistyped = world.see(second, "B", {"tag": "202"}, "dead")
        self.correction = second.say("observation", {**self.mistyped.values, "status": "alive"}, [self.mistyped.digest])
        self.taken_back = world.see(second, "B", {"position": "1"}, "missing")
        second.say("retract", {}, [self.taken_back.digest])
        first.say("photo", {"row": self.alive.values["row"], "photo": "a" * 64, "bytes": 3, "type": "image/jpeg"})
        first.say("close", {"n": len(first.entries), "photos": "1"})
        world.see(world.dive("2024-06-01", site, practice="true"), "A", {"tag": "101"}, "dead")
        imported = world.dive("2024-05-01", site, **{"import": IMPORT})
        self.imported = world.see(imported, "A", {"tag": "101"}, "missing")
        world.open_book(role="lead").say("retract", {"import": IMPORT})
        halves = world.dive("2024-06-01", site), world.dive("2024-06-01", site)
        for part, half in enumerate(halves, 1):
            world.count(half, 4, part=str(part), parts="2")
        self.double = world.rule("double", [self.alive.digest, self.dead.digest], "use", fields={"status": "alive"})
        self.placed = world.rule("tag", [self.misread.digest], "place", coral=name("coral", "101"))
        world.rule("tag", [self.misread.digest], "set_aside", replaces=[])
        self.moved = world.open_book(role="lead").say("retract", {}, [self.placed.digest])
        world.rule("date", [second.session], "day", day="2024-06-02")
        world.open_book(role="crew").say("site", {"site": site, "name": "Taken"})
        world.forge(first, 2, "observation", {**self.unreached.values, "tag": "777"}, first.device)
        world.see(world.dive("2024-09-01", world.other_site), "A", {"tag": "102"}, "asleep")
        second.say("forecast", {"wind": "calm"})

    @property
    def entries(self) -> list[Entry]:
        return self.world.said

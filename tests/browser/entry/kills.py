"""A slate entered by a script of taps and letters, struck at a moment that nobody chose, and opened again on what is left.

What the page had told before the blow must be there after it. The page itself says what it told: whenever what it shows of any
row has changed, all that it shows is sent out of the browser. And what may be there is known from a run of the same script
that nobody disturbed: after the blow the slate must stand as it stood after some step of that run, none before the last that
was told and none after the last that was done.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Timer
from time import monotonic, sleep
from typing import Any

from playwright.sync_api import Error, Page, Playwright

from tests.browser.conftest import until
from tests.browser.device.windows import Chromium
from tests.browser.entry.conftest import Phone, Shore

SITE, PLOT = "Ray Steps", "RAY-11"
ROWS = 8  # of nine: the last stays unread, so that the slate stays open
DROP_MS = 310  # after which a tap on the same key is no drop of water any more
PATIENCE_S = 20

# What is shown of each row: its tag, its words, how many photos. The same whether it is in hand or folded.
TOLD = """() => {
    const text = it => it?.textContent.trim() ?? "";
    const count = it => Number(/[0-9]+/.exec(text(it))?.[0] ?? 0);
    return JSON.stringify([...document.querySelectorAll(".lines [role=listitem]")].map(row => {
        const words = row.querySelector(".words").cloneNode(true);
        words.querySelectorAll(".mark, .with").forEach(it => it.remove());
        const photos = row.querySelectorAll(".thumbs li").length ||
            count(row.querySelector(".with, [data-opens=photo] .unseen"));
        return [text(row.querySelector(".tag")), text(words).replace(" (something missing)", ""), photos];
    }));
}"""
TELLS = f"""
    let before = "";
    new MutationObserver(() => {{
        const now = ({TOLD})();
        if (now === before || now === "[]") return;
        before = now;
        window.told(now);
    }}).observe(document, {{childList: true, subtree: true, characterData: true}});
"""

# Some milliseconds after a step has reached the page.
RELOADS_AT = {"tap": "pointerup", "type": "keydown", "photo": "change", "line": "submit"}
RELOADS = """([event, after]) => {
    window.struck = true;
    addEventListener(event, () => setTimeout(() => location.reload(), after), {capture: true, once: true});
}"""

Told = str  # all that is shown, as text
Step = tuple[str, str]


def script(dice: random.Random, picture: Path, rows: int = ROWS) -> list[Step]:
    """What a hand does for the rows of a slate: ("tap", a key), ("type", a letter), ("photo", a file)."""
    steps = list[Step]()
    for _ in range(rows):
        steps += dice.choice(_ROWS)(dice, picture)
    return steps


def _well(_dice: random.Random, _picture: Path) -> list[Step]:
    return [("tap", ".foot .finish")]


def _pale(dice: random.Random, _picture: Path) -> list[Step]:
    level = dice.choice(["pale", "partly"])
    return [("tap", "[data-opens=bleaching]"), ("tap", f".opened .key:has-text('{level}') >> nth=0"), ("tap", ".foot .finish")]


def _gone(dice: random.Random, _picture: Path) -> list[Step]:
    state = dice.choice(["Missing", "Dead", "Not searched"])
    return [("tap", f".states .key:text-is('{state}')"), ("tap", ".foot .skip")]


def _sized(dice: random.Random, _picture: Path) -> list[Step]:
    figures = f"{dice.randint(4, 49)}.{dice.randint(1, 9)}"
    pad = [("tap", f".pad .key:text-is('{figure}')") for figure in figures if figure != "."]
    return [("tap", "[data-opens=size_cm]"), *pad, ("tap", ".foot .finish")]


def _noted(dice: random.Random, _picture: Path) -> list[Step]:
    letters = [("type", letter) for letter in dice.choice(["tag overgrown", "base cracked", "algae all around"])]
    return [("tap", "[data-opens=note]"), *letters, ("tap", ".foot .finish")]


def _photographed(_dice: random.Random, picture: Path) -> list[Step]:
    return [("tap", "[data-opens=photo]"), ("photo", str(picture)), ("tap", ".opened header .key"), ("tap", ".foot .finish")]


def _taken_back(_dice: random.Random, _picture: Path) -> list[Step]:
    return [("tap", ".foot .finish"), ("tap", ".foot .undo"), ("tap", ".foot .finish")]


_ROWS = (_well, _well, _pale, _gone, _sized, _noted, _photographed, _taken_back)


def typed_script(dice: random.Random) -> list[Step]:
    """The same on a laptop: codes as they stand on the slate."""
    lines = [".", "A P", "D", "M", "/", "A S 95 P 15cm", 'A 12.5cm "loose tag', "A 80"]
    return [("line", dice.choice(lines)) for _ in range(ROWS)]


class Crew:
    """A browser whose profile is paired with a base; it is struck and started again, and each run begins a slate of its own."""

    def __init__(self, playwright: Playwright, profile: Path, shore: Shore, **options: Any) -> None:
        self.browser = Chromium(playwright, profile, locale="en-GB", **options)
        page = self.browser.context.pages[0]
        Phone(page, shore).pair().begin(SITE, PLOT)
        self._slate = page.url
        page.goto("about:blank")

    def close(self) -> None:
        self.browser.close()

    def slate(self) -> str:
        """The address of a new one, begun by the next recorder."""
        page = self.browser.context.new_page()
        page.goto(self._slate.replace("#slate/", "#second/"))
        page.get_by_label("Recorder").fill("EA")
        page.get_by_role("button", name="Begin").click()
        page.locator(".in-hand").wait_for()
        begun = page.url
        page.close()
        return begun

    def opened(self, slate: str, run: Run | None = None) -> Page:
        """A slate in a tab of its own; what it shows is told to the run."""
        page = self.browser.context.new_page()
        if run:
            page.expose_function("told", lambda told: run.told.append(told))
            page.add_init_script(TELLS)
        page.goto(slate)
        page.locator(".in-hand").wait_for()
        return page


@dataclass
class Run:
    """What was done, and what the page told of it."""

    steps: Sequence[Step]
    stands: Sequence[Told]  # before the first step and after each, as nobody disturbed it
    done: int = 0  # steps
    told: list[Told] = field(default_factory=list)

    def shown(self) -> int:
        """The last step whose outcome was shown."""
        at = 0
        for told in self.told:
            at = next((i for i in range(at, self.done + 1) if self.stands[i] == told), at)
        while at < self.done and self.stands[at + 1] == self.stands[at]:  # a step that opens a panel changes nothing
            at += 1
        return at


@dataclass(frozen=True)
class Outcome:
    changes: int  # whose feedback was shown
    lost: int  # of them
    is_strange: bool  # the slate stands as it never stood
    was_under_way: bool  # a change was done and not shown yet
    was_kept_unseen: bool  # and it is there all the same


Blow = Callable[[Crew, Run, random.Random], Outcome]


def undisturbed(crew: Crew, steps: Sequence[Step]) -> list[Told]:
    """How the slate stands before the first step and after each, one after the other in peace."""
    page = crew.opened(crew.slate())
    stands = [page.evaluate(TOLD)]
    for step in steps:
        row = _row_in_hand(page)
        do(page, step)
        _wait_for_row(page, step, row)
        stands.append(_at_rest(page))
    page.close()
    return stands


def _at_rest(page: Page) -> Told:
    """What is shown once nothing has changed for a while, and a tap on the same key is no drop of water any more."""
    now: Told = page.evaluate(TOLD)
    since = monotonic()
    while monotonic() - since < DROP_MS / 1000:
        page.wait_for_timeout(60)
        if (later := page.evaluate(TOLD)) != now:
            now, since = later, monotonic()
    return now


def _row_in_hand(page: Page) -> str:
    return page.locator(".in-hand .sounding").inner_text()


def _wait_for_row(page: Page, step: Step, before: str) -> None:
    """The keys at the foot, and a line that was typed, bring another row in hand."""
    if step[0] == "line" or step[1].startswith(".foot"):
        end = monotonic() + PATIENCE_S
        while _row_in_hand(page) == before:
            assert monotonic() < end, f"the same row is in hand after {step}"
            page.wait_for_timeout(15)


def do(page: Page, step: Step) -> None:
    """One step, without waiting for what comes of it."""
    what, target = step
    if what == "tap":
        page.locator(target).scroll_into_view_if_needed(timeout=PATIENCE_S * 1000)
        while not (box := page.locator(target).bounding_box()):
            page.wait_for_timeout(15)  # it was just being drawn anew
        page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    elif what == "photo":
        page.locator("input[type=file][multiple]").first.set_input_files(target)
    elif what == "type":
        page.locator("textarea:focus").wait_for()
        page.keyboard.type(target)
    else:
        page.locator("#codes:focus").wait_for()
        page.keyboard.type(target)
        page.keyboard.press("Enter")


def enter(page: Page, run: Run, *, last: int | None = None, before: Callable[[int], None] = lambda _step: None) -> None:
    """The script: each step once what the one before changed is shown, letters of a note as fast as they are typed.

    Args:
        last: the step that is not waited for any more.
        before: called with the number of each step as it is about to be done.
    """
    for step, following in zip(run.steps, [*run.steps[1:], None], strict=True):
        row = _row_in_hand(page)
        before(run.done + 1)
        run.done += 1
        do(page, step)
        if run.done == last:
            return
        if step[0] == "type" and following and following[0] == "type":
            continue
        end = monotonic() + PATIENCE_S
        while run.shown() < run.done:
            assert monotonic() < end, f"never shown: step {run.done} {step}: {run.told[-1:]} is not {run.stands[run.done]}"
            page.wait_for_timeout(15)
        _wait_for_row(page, step, row)
        if step == following:
            page.wait_for_timeout(DROP_MS)


def killed(crew: Crew, run: Run, dice: random.Random) -> Outcome:
    """SIGKILL to every process of the browser while the script goes on; it is started again on the same profile."""
    strikes_at = dice.randint(1, len(run.steps))
    slate = crew.slate()
    page = crew.opened(slate, run)
    blow = Timer(dice.uniform(0, 0.25), crew.browser.strike)
    with suppress(Error):  # it is gone
        enter(page, run, before=lambda step: blow.start() if step == strikes_at else None)
    blow.join()
    crew.browser.launch_again()
    return _compared(crew.opened(slate), run)


def reloaded(crew: Crew, run: Run, dice: random.Random) -> Outcome:
    """The page is loaded anew in the middle of a step."""
    last = dice.randint(1, len(run.steps))
    page = crew.opened(crew.slate(), run)
    blow = [RELOADS_AT[run.steps[last - 1][0]], dice.uniform(0, 60)]
    enter(page, run, last=last, before=lambda step: page.evaluate(RELOADS, blow) if step == last else None)
    until(page, "!window.struck && document.querySelector('.in-hand') !== null", seconds=PATIENCE_S)
    return _compared(page, run)


def closed(crew: Crew, run: Run, dice: random.Random) -> Outcome:
    """The tab is closed in the middle of a step, and another opened."""
    slate = crew.slate()
    page = crew.opened(slate, run)
    enter(page, run, last=dice.randint(1, len(run.steps)))
    sleep(dice.uniform(0, 0.04))
    page.close()
    return _compared(crew.opened(slate), run)


def _compared(page: Page, run: Run) -> Outcome:
    now = page.evaluate(TOLD)
    page.close()
    shown = run.shown()
    may_stand = [i for i in range(shown, run.done + 1) if run.stands[i] == now]
    stood = [i for i in range(shown) if run.stands[i] == now]
    return Outcome(
        changes=_changes(run.stands, 0, shown),
        lost=0 if may_stand else _changes(run.stands, max(stood, default=0), shown),
        is_strange=not may_stand and not stood,
        was_under_way=_changes(run.stands, shown, run.done) > 0,
        was_kept_unseen=bool(may_stand) and now != run.stands[shown],
    )


def _changes(stands: Sequence[Told], start: int, end: int) -> int:
    return sum(stands[i] != stands[i + 1] for i in range(start, end))

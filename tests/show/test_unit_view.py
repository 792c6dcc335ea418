"""The pages about units: lists, one unit's history, and the check of a unit that came back."""

from __future__ import annotations

import shlex
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned

from usbwatch import profile as profiles
from usbwatch.casebook import Story, open_book, story
from usbwatch.cli import main
from usbwatch.cli.taking import local_time
from usbwatch.cli.unit import options
from usbwatch.model.history import Ending, Unit
from usbwatch.show import plain
from usbwatch.show.lines import cells
from usbwatch.show.unit_view import unit_head, unit_view, units_view

GOLDEN = Path(__file__).parent / "golden"
CAPTURES = Path(__file__).parents[2] / "captures"

_STORY = """
open LB-0001 larch-13-top-case-lost.json --at 2026-03-02T09:20Z --by "bench 1" --paid 60 --liquid no --came-with box \
  --claim "keyboard, touchpad and battery dead" --claim smells --attach board.jpg --note wet
step LB-0001 reseat:top-case-flex --minutes 18 --at 2026-03-02T09:40Z --result "was fully in"
step LB-0001 swap:top-case --part known-good --minutes 60 --at 2026-03-02T10:40Z --by "bench 1"
capture LB-0001 larch-13-after-top-case.json --at 2026-03-03T08:00Z --by "bench 2"
answer LB-0001 runs-on-battery=yes elsewhere:battery-pack=no --at 2026-03-03T08:10Z --by "bench 2"
amend LB-0001 9 --set yes=yes --reason misread --at 2026-03-03T08:20Z
amend LB-0001 9 --set yes=no --reason "was right after all" --at 2026-03-03T08:30Z
note LB-0001 "of another unit" --cost 5 --minutes 3 --at 2026-03-03T08:40Z --by "bench 2"
amend LB-0001 12 --withdraw --reason "of another unit"
step LB-0001 fit:mainboard --part new --cost 210 --minutes 70 --serial LG-M002-DEMO --at 2026-03-06T15:10Z
capture LB-0001 larch-13-repaired.json --at 2026-03-06T15:45Z
baseline LB-0001 --reason "the trial part stays in" --at 2026-03-06T16:00Z
close LB-0001 repaired --cause mainboard-gauge --cause top-case-inputs --brought 520 --at 2026-03-07T10:00Z
amend LB-0001 1 --set paid=70 --reason postage
reopen LB-0001 --claim "battery lasts an hour" --came-with adapter --dropped yes --at 2026-09-08T08:20Z
capture LB-0001 larch-13-returned.json --at 2026-09-08T08:30Z
open A-unit-with-a-very-long-label-of-its-own --model brackwell-heron-14
close A-unit-with-a-very-long-label-of-its-own sold-as-is
open 修-0007
"""
"""Commands of ``usbwatch unit``, typed as in a shell."""

Page = Callable[..., str]


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A casebook of invented units, written down on invented days."""
    folder = tmp_path_factory.mktemp("book")
    (folder / "board.jpg").write_bytes(b"an invented photo" * 100)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(CAPTURES)
        patch.setenv("TZ", "UTC")
        time.tzset()
        patch.setenv("USBWATCH_BOOK", str(folder / "book.sqlite"))
        patch.setenv("USBWATCH_PROFILES", str(folder / "none"))
        patch.delenv("USBWATCH_BY", raising=False)
        for number, line in enumerate(_STORY.strip().splitlines()):
            patch.setattr(options, "now", lambda number=number: f"2026-09-08T09:{number:02d}:00Z")
            words = [str(folder / word) if word == "board.jpg" else word for word in shlex.split(line)]
            assert main(["unit", *words]) in (0, 10), line
        yield str(folder / "book.sqlite")
    time.tzset()


@pytest.fixture
def page(book: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Page:
    def shown(*words: str, width: int = 80) -> str:
        monkeypatch.setenv("COLUMNS", str(width))
        capsys.readouterr()
        main([*words, "--book", book])
        return capsys.readouterr().out

    return shown


def _told(book: str, label: str = "LB-0001") -> tuple[Unit, Story]:
    opened = open_book(book)
    try:
        unit = opened.unit(label)
        return unit, opened.story(unit)
    finally:
        opened.close()


_PAGES = {
    "unit-show": ["unit", "show", "LB-0001"],
    "unit-list": ["unit", "list", "--all"],
    "unit-find": ["unit", "find", "LG-B001"],
    "unit-check": ["check", "LB-0001"],
    "unit-models": ["unit", "history"],
    "unit-history": ["unit", "history", "fernhill-larch-13"],
}


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("name", _PAGES)
def test_the_page_is_as_stored(page: Page, name: str, width: int) -> None:
    assert_golden(GOLDEN, f"{name}-{width}.txt", page(*_PAGES[name], width=width))


@pytest.mark.parametrize("width", [60, 80, 100, 120])
@pytest.mark.parametrize("name", ["unit-show", "unit-list", "unit-find"])
def test_no_line_is_wider_than_the_page(page: Page, name: str, width: int) -> None:
    assert max(cells(row) for row in page(*_PAGES[name], width=width).splitlines()) <= width


def test_the_columns_of_a_list_stand_under_their_titles(page: Page) -> None:
    titles, *rows = page("unit", "list", "--all", width=60).splitlines()
    day = cells(titles[: titles.index("LAST ENTRY")])
    assert len(rows) == 4, "the long label has a row of its own"
    for row in [row for row in rows if not row.startswith("A-unit")]:
        before = row[: row.index("2026-")]
        assert (cells(before), before[-1]) == (day, " ")


def test_an_amendment_tells_what_stood_before_it(page: Page) -> None:
    shown = " ".join(page("unit", "show", "LB-0001").split())
    assert "amended by entry 10: misread; it said: NO amended" in shown
    assert "amended by entry 11: was right after all; it said: yes 12 08:40 note" in shown
    assert "amended by entry 18: postage; it said: paid 60 2 09:20 capture" in shown
    assert "told paid 70" in shown


def test_who_recorded_is_told_where_it_changes(page: Page) -> None:
    rows = [row.strip() for row in page("unit", "show", "LB-0001").splitlines()]
    assert [row for row in rows if row.startswith("by ")] == [
        *("by bench 1", "by nobody named", "by bench 1", "by bench 2", "by nobody named")
    ]


def test_a_capture_that_was_taken_on_another_day_says_so(page: Page) -> None:
    shown = page("unit", "show", "LB-0001")
    assert shown.count("taken 2026-") == 1
    assert "taken 2026-03-02 10:47 UTC" in shown


def test_a_history_is_shown_without_its_profile_too(book: str) -> None:
    unit, told = _told(book)
    shown = plain(unit_view(unit, told, None, 80, local_time), 80)
    assert "swap top-case" in shown
    assert "yes: runs-on-battery" in shown


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_a_page(book: str, text: str) -> None:
    unit, told = _told(book)
    kept = frozenset({"at", "recorded_at", "id", "entry", "taken_at"})
    entries = [
        *(each.entry for each in told.standings),
        *(amendment for each in told.standings for amendment in each.amendments),
    ]
    bad = story([poisoned(entry, text, kept) for entry in entries])
    bad_unit = replace(unit, label=text, model=text)
    profile = profiles.find("fernhill-larch-13")
    for width in (60, 80):
        for lines in (
            unit_view(bad_unit, bad, profile, width, local_time),
            unit_view(bad_unit, bad, None, width, local_time),
            unit_head(bad_unit, bad, width),
            units_view([bad_unit, unit], local_time, [f"serial {text}"]),
        ):
            rows = plain(lines, width).removesuffix("\n").split("\n")
            assert all(row.isprintable() for row in rows)
            assert max(cells(row) for row in rows) <= width


@pytest.mark.parametrize("ending", [None, *Ending])
def test_a_list_says_of_each_unit_how_it_stands(book: str, ending: Ending | None) -> None:
    unit, _ = _told(book)
    shown = plain(units_view([replace(unit, ending=ending)], local_time), 80)
    assert (ending.value if ending else "on the bench") in shown

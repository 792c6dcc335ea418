"""The tutorial and the how-to pages, typed line by line in an empty folder and an empty home: every screen is as shown.

What of the wheel they use is what an installed program has: its captures, written by ``usbwatch demo --into``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from support.make_readme import ROOT
from support.pages import PLAYED, SERVER, Played, fits, played, shown

TEXTS = {name: (ROOT / name).read_text("utf-8") for name in PLAYED}
SHOWN = [(name, number, *pair) for name in PLAYED for number, pair in enumerate(shown(TEXTS[name]))]

WRONG = {
    # A unit with a fault is opened, checked or captured; a screen or a bench without a fault ends with 0.
    "docs/tutorial.md": 10,
    "docs/how-to/dead-screen.md": 10,
    "docs/how-to/first-healthy-unit.md": 10,
    "docs/how-to/hand-over.md": 0,
    "docs/how-to/intermittent-fault.md": 10,
    "docs/how-to/no-keyboard.md": 10,
    "docs/how-to/no-system.md": 10,
    "docs/how-to/several-benches.md": 10,
}


@pytest.fixture(scope="module")
def runs(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], list[Played]]:
    """What the commands of a page came to; played when first asked for, with a server if it has one."""

    @cache
    def of(name: str) -> list[Played]:
        server = _new_database(request.getfixturevalue("postgres_url")) if SERVER in TEXTS[name] else ""
        return played(name, tmp_path_factory.mktemp("page"), server)

    return of


def _new_database(url: str) -> str:
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("CREATE DATABASE page")
    return url.replace("/postgres?", "/page?")


def test_there_is_a_tutorial_and_a_page_for_each_case() -> None:
    assert set(PLAYED) == set(WRONG)
    assert all(shown(text) for text in TEXTS.values())


@pytest.mark.parametrize(
    ("name", "number", "command", "screen"), SHOWN, ids=[f"{Path(name).stem}-{number}" for name, number, *_ in SHOWN]
)
def test_a_command_prints_what_the_page_shows(
    runs: Callable[[str], list[Played]], name: str, number: int, command: str, screen: str
) -> None:
    done = runs(name)[number]
    assert done.command.split() == command.replace("\\\n", " ").split()
    assert fits(screen, done.printed), done.printed


@pytest.mark.parametrize("name", PLAYED)
def test_nothing_on_a_page_ends_with_a_mistake(runs: Callable[[str], list[Played]], name: str) -> None:
    """But for what the page shows as refused."""
    told = {one.code for one in runs(name) if not one.printed.startswith(_REFUSED)}
    assert told <= {0, 10, 11}, [one for one in runs(name) if one.code not in (0, 10, 11)]
    assert WRONG[name] in told


_REFUSED = (
    "usbwatch: something was done to unit LB-0004",
    "usbwatch: capture stick/larch-13-top-case-lost.json: is of",
)


def test_the_tutorial_goes_from_the_first_day_to_the_baseline_after_the_repair(
    runs: Callable[[str], list[Played]],
) -> None:
    """The pattern (a shared feed takes several devices along, a second fault shows once the first is mended) is common
    practice of the trade, no source; the unit is invented."""
    said = {one.command: one.printed for one in runs("docs/tutorial.md")}

    def verdict(words: str) -> str:
        (printed,) = [text for command, text in said.items() if words in command]
        return printed

    assert "Likeliest cause: Top-case flex" in verdict("unit open")
    assert "Likeliest cause: Battery pack" in verdict("larch-13-after-top-case.json --at")
    assert "Whole: all 19 expected devices are present" in verdict("larch-13-repaired.json")
    assert "keeps its baseline" in verdict("unit baseline")
    assert said["usbwatch demo --into captures"] == "usbwatch: 9 captures of invented units are in captures\n"

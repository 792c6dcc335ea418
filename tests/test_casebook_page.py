"""docs/casebook.md, played: every command prints what the page shows, and the story goes as the page tells it.

The pattern of the story (a shared feed takes several devices with it; a second fault shows when the first is mended;
the unit comes back with another pack) is common practice of the trade, no source; all its data are invented.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import click
import pytest
from support.casebook_page import PAGE, Played, played, run, shown

from usbwatch.cli.unit import unit

TEXT = PAGE.read_text(encoding="utf-8")
SHOWN = shown(TEXT)
_LOOKS = ("usbwatch unit open", "usbwatch unit capture", "usbwatch unit answer")


class Story:
    """The page's commands as they ran, and what a check said after each one after which something was known anew."""

    def __init__(self, folder: Path) -> None:
        self.runs: list[Played] = []
        self.checks: dict[str, dict[str, Any]] = {}
        for one in played(TEXT, folder):
            self.runs.append(one)
            if one.command.startswith(_LOOKS):
                self.checks[one.command] = json.loads(run("usbwatch check LB-0001 --json", folder).printed)

    def after(self, words: str) -> dict[str, Any]:
        """The check after the one command with these words in it."""
        (found,) = [said for command, said in self.checks.items() if words in command]
        return found


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    return Story(tmp_path_factory.mktemp("bench"))


def first(check: dict[str, Any]) -> str:
    part: str = check["suspects"]["parts"][0]["part"]
    return part


def verdicts(check: dict[str, Any], *devices: str) -> list[str]:
    found = {one["device"]: one["verdict"] for one in check["findings"]}
    return [found[device] for device in devices]


@pytest.mark.parametrize("number", range(len(SHOWN)), ids=[command for command, _ in SHOWN])
def test_a_command_prints_what_the_page_shows(story: Story, number: int) -> None:
    words = SHOWN[number][1]
    # "[…]" on a line of its own stands for lines that the page leaves out.
    pattern = ".*?".join(re.escape(piece) for piece in re.split(r"^\[…\]\n", words, flags=re.MULTILINE))
    assert re.fullmatch(pattern, story.runs[number].printed, re.DOTALL), story.runs[number].printed


def test_each_command_ends_with_the_code_of_what_it_found(story: Story) -> None:
    """10 while something is wrong; recording itself, a whole unit and a pack that was changed are 0."""
    wrong = [one.command for one in story.runs if one.code == 10]
    assert {one.code for one in story.runs} == {0, 10}
    assert [command.split(" --")[0] for command in wrong] == [
        "usbwatch unit open LB-0001 captures/larch-13-top-case-lost.json",
        "usbwatch unit capture LB-0001 captures/larch-13-after-top-case.json",
        "usbwatch check LB-0001",
        "usbwatch check LB-0001",
    ]


def test_it_comes_in_with_keyboard_touchpad_and_battery_dead_and_the_shared_flex_is_suspected(story: Story) -> None:
    check = story.after("unit open")
    assert verdicts(check, "keyboard", "touchpad", "battery") == ["missing", "missing", "impaired"]
    assert first(check) == "top-case-flex"


def test_with_a_known_good_top_case_keyboard_and_touchpad_return_and_the_gauge_is_silent(story: Story) -> None:
    check = story.after("larch-13-after-top-case.json")
    assert verdicts(check, "keyboard", "touchpad", "battery") == ["present", "present", "impaired"]
    assert first(check) == "battery-pack"


def test_the_ranking_moves_to_the_mainboard_when_the_pack_works_elsewhere(story: Story) -> None:
    assert first(story.after("measure:top-case-flex=yes")) == "battery-pack"
    check = story.after("elsewhere:battery-pack=yes")
    parts = {one["part"]: one["probability"] for one in check["suspects"]["parts"]}
    assert first(check) == "mainboard"
    assert parts["mainboard"] > 0.5
    assert parts["battery-pack"] < 0.2


def test_with_another_mainboard_the_unit_is_whole(story: Story) -> None:
    check = story.after("larch-13-repaired.json")
    assert {one["verdict"] for one in check["findings"]} == {"present"}
    assert check["since_baseline"] is None


def test_six_months_later_every_part_is_there_and_the_pack_is_another_one(story: Story) -> None:
    check = story.after("larch-13-returned.json")
    since = check["since_baseline"]
    assert {one["verdict"] for one in check["findings"]} == {"present"}
    assert since["not_as_fitted"] == ["battery"]
    (battery,) = [one for one in since["devices"] if one["device"] == "battery"]
    assert battery["told_by"] == [{"field": "battery serial number", "before": "LG-B001-DEMO", "after": "LG-B104-DEMO"}]
    assert (since["days"], since["wear"][0]["percent_now"], since["wear"][0]["same"]) == (186, 74, False)


def test_the_money_adds_up(story: Story) -> None:
    """60+120+210 is 390; 18+60+20+70 is 168 minutes, at the profile's 40 an hour 112; 560-390-112 is 58."""
    (whole, _) = [one.printed for one in story.runs if one.command == "usbwatch unit show LB-0001"]
    assert "spent 390, bench time 168 min (worth 112), brought 560, left 58" in whole


def test_every_command_of_the_casebook_is_on_the_page_and_no_other() -> None:
    named = set(re.findall(r"usbwatch unit ([a-z]+)", TEXT))
    assert named == set(unit.list_commands(click.Context(unit)))

"""What is sound and could be better: files beside what is said of them, and nothing to say of the shipped ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.drafting import LAYOUTS, Layout
from usbwatch.model import HandCheck, Part, PartKind, Profile
from usbwatch.profile import known, load, notes
from usbwatch.profile.faults import MOST

NOTED = sorted((Path(__file__).parent.parent / "examples" / "profiles" / "noted").glob("*.toml"))


def test_the_examples_are_found() -> None:
    assert len(NOTED) >= 8


@pytest.mark.parametrize("path", NOTED, ids=lambda path: path.stem)
def test_a_sound_file_is_told_what_could_be_better(path: Path) -> None:
    told = "".join(f"{place}: {remark}\n" for place, remark in notes(load(str(path))))
    assert told == path.with_suffix(".expected").read_text(encoding="utf-8")


@pytest.mark.parametrize("profile", known(), ids=lambda profile: profile.id)
def test_nothing_is_to_be_said_of_a_shipped_profile(profile: Profile) -> None:
    assert notes(profile) == ()


def test_a_flood_of_notes_is_cut() -> None:
    parts = tuple(Part(id=f"p{number}", kind=PartKind.SUBASSEMBLY, name="p") for number in range(MOST + 50))
    assert len(notes(Profile(id="p", name="p", source="generated", parts=parts))) == MOST


def test_a_check_in_an_opened_unit_that_takes_a_minute_is_told() -> None:
    """One minute is what stands in, and what is cheap is proposed first."""
    flex = Part(id="flex", kind=PartKind.LINK, name="Flex", joins=("board", "top-case"))
    caution = "Unplug the adapter, then disconnect the battery."
    checks = (
        HandCheck(id="looks-at-a-link", question="Is it in?", needs=("flex",)),
        HandCheck(id="needs-the-battery-out", question="Is it clean?", needs=("board",), caution=caution),
        HandCheck(id="with-minutes", question="Is it in?", needs=("flex",), caution=caution, minutes=12),
        HandCheck(id="from-outside", question="Does it run?", needs=("board",), caution="Stop at a swollen battery."),
    )
    told = notes(Profile(id="p", name="p", source="generated", parts=(flex,), checks=checks))
    assert [place for place, remark in told if "bench time" in remark] == [
        "check.looks-at-a-link.minutes",
        "check.needs-the-battery-out.minutes",
    ]


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_no_template_has_a_check_in_an_opened_unit_that_takes_a_minute(layout: Layout) -> None:
    unit = Profile(id="p", name="p", source="generated", parts=layout.parts, checks=layout.checks)
    assert not [place for place, remark in notes(unit) if "bench time" in remark]

"""What is sound and could be better: files beside what is said of them, and nothing to say of the shipped ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from usbwatch.model import Part, PartKind, Profile
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

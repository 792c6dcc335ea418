"""What a profile can and cannot tell apart, as a page and as a validation shows it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import PROFILE
from support.small_units import units

from usbwatch.localise import discern_model
from usbwatch.model import Findings, Profile
from usbwatch.profile import find, known, load
from usbwatch.show import plain, profile_page
from usbwatch.show.discerned_view import alike_lines, discerned_notes, marks

GOLDEN = Path(__file__).parent / "golden"
ALIKE = sorted((Path(__file__).parent.parent / "examples" / "profiles" / "alike").glob("*.toml"))


def page(profile: Profile, width: int, *, ascii_only: bool = False) -> str:
    return plain(profile_page(profile, discern_model(profile), width), width, ascii_only=ascii_only)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_page_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"profile-page-{width}.txt", page(PROFILE, width))


def test_the_page_in_ascii_is_as_stored() -> None:
    text = page(PROFILE, 80, ascii_only=True)
    assert text.isascii()
    assert_golden(GOLDEN, "profile-page-80-ascii.txt", text)


def test_the_examples_are_found() -> None:
    assert len(ALIKE) >= 4


@pytest.mark.parametrize("path", ALIKE, ids=lambda path: path.stem)
def test_a_validation_lists_what_looks_alike_and_what_would_tell(path: Path) -> None:
    profile = load(str(path))
    found = discern_model(profile)
    told = "".join(f"{place}: {remark}\n" for place, remark in discerned_notes(profile, found))
    told += "".join(f"{one.text.strip()}\n" for one in alike_lines(profile, found))
    assert told == path.with_suffix(".expected").read_text(encoding="utf-8")


def signs(profile: Profile) -> dict[str, str]:
    return {piece: mark.sign for piece, mark in marks(profile, discern_model(profile)).items()}


def test_the_worst_that_is_to_be_said_of_a_piece_marks_it() -> None:
    """By hand, from the Larch's comments: a flex takes a look, a slot nothing tells, a hub needs no look."""
    found = signs(find("fernhill-larch-13"))
    assert (found["top-case-flex"], found["top-case"], found["mainboard"]) == ("h", "h", "h")
    assert (found["radio-slot"], found["radio-card"]) == ("?", "?")


def test_a_piece_that_a_capture_always_tells_is_marked_so() -> None:
    found = signs(load(str(ALIKE[0].with_name("not-in-one-variant.toml"))))
    assert found == {"mainboard": "✓", "touchpad-module": "h", "flex": "h"}


@pytest.mark.parametrize("profile", known(), ids=lambda profile: profile.id)
@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_shipped_profile_fits_the_page_and_names_every_device_and_link(profile: Profile, width: int) -> None:
    text = page(profile, width)
    assert max(map(len, text.splitlines())) <= width
    drawn = " ".join(text.replace("│", " ").split())
    for device in profile.devices:
        assert device.name in drawn
    for part in profile.parts:
        assert part.name.casefold() in drawn.casefold() or part.within


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_of_a_profile_can_break_the_page(text: str) -> None:
    keep = frozenset({"id", "within", "joins", "needs"})
    hostile = poisoned(PROFILE, text, keep)
    for width in (20, 60, 80):
        rows = page(hostile, width).removesuffix("\n").split("\n")
        assert all(row.isprintable() for row in rows)


@pytest.mark.properties
@given(unit=units())
def test_whatever_the_layout_no_line_is_wider_than_the_page(unit: tuple[Profile, Findings]) -> None:
    for width in (30, 60):
        assert max(map(len, page(unit[0], width).splitlines())) <= width

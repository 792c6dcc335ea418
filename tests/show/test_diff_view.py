"""What changed between two captures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.invented import COVERAGE, MODEM, MOUSE, PROFILE, XHCI, capture, node

from usbwatch.model import Capture, Profile, UnitStrings
from usbwatch.model.changes import ChangeKind, Changes, CoverageChange, EpisodeChange, FactChange, NodeChange
from usbwatch.show import changes_document, diff_view, json_text, plain
from usbwatch.show.diff_view import changes_sentence, diff_heading_view

GOLDEN = Path(__file__).parent / "golden"

CHANGES = Changes(
    unit=(FactChange(field="bios_version", before="1.02", after="1.04"),),
    coverage=(CoverageChange(bus="i2c", before=COVERAGE[0], after=COVERAGE[1]),),
    nodes=(
        NodeChange(kind=ChangeKind.NEW, bus="usb", after=MOUSE),
        NodeChange(kind=ChangeKind.GONE, bus="usb", before=node("hub")),
        NodeChange(kind=ChangeKind.GONE, bus="usb", before=node("keyboard"), follows=True),
        NodeChange(kind=ChangeKind.GONE, bus="usb", before=node("touchpad"), follows=True),
        NodeChange(
            kind=ChangeKind.CHANGED,
            bus="usb",
            before=node("camera"),
            after=node("camera"),
            facts=(FactChange(field="facts.speed_kbps", before=480_000, after=12_000),),
        ),
        NodeChange(
            kind=ChangeKind.MOVED,
            bus="usb",
            before=node("bluetooth"),
            after=replace(node("bluetooth"), location=f"{XHCI}/7"),
        ),
        NodeChange(kind=ChangeKind.REPLACED, bus="usb", before=node("card-reader"), after=MODEM),
        NodeChange(kind=ChangeKind.NOT_COMPARABLE, bus="acpi", before=node("battery")),
    ),
    episodes=(
        EpisodeChange(
            kind=ChangeKind.NEW, location=f"{XHCI}/4", trouble="enumeration failed", after=capture().episodes[0]
        ),
    ),
    system=(FactChange(field="kernel", before="6.1.0", after="6.12.0"),),
)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_page_is_as_stored(width: int) -> None:
    assert_golden(GOLDEN, f"diff-{width}.txt", plain(diff_view(CHANGES, width, PROFILE), width))


def test_the_page_in_ascii_is_as_stored() -> None:
    page = plain(diff_view(CHANGES, 80, PROFILE), 80, ascii_only=True)
    assert page.isascii()
    assert_golden(GOLDEN, "diff-80-ascii.txt", page)


def test_without_a_profile_things_sit_at_their_controller() -> None:
    assert_golden(GOLDEN, "diff-80-no-profile.txt", plain(diff_view(CHANGES, 80), 80))


def test_no_change_says_so() -> None:
    assert "Nothing changed" in plain(diff_view(Changes(), 80, PROFILE), 80)


KNOWN = [kind for kind in ChangeKind if kind is not ChangeKind.NOT_COMPARABLE]


def test_what_one_capture_did_not_see_is_counted_by_bus_and_no_change() -> None:
    hidden = tuple(
        NodeChange(kind=ChangeKind.NOT_COMPARABLE, bus="usb", before=node(name)) for name in ("camera", "keyboard")
    )
    text = plain(diff_view(Changes(nodes=hidden), 80, PROFILE), 80)
    assert "NOT COMPARABLE" in text
    assert "usb 2 nodes" in text
    assert "Camera" not in text
    assert not Changes(nodes=hidden).known


@pytest.mark.parametrize("kind", KNOWN, ids=[kind.value for kind in KNOWN])
def test_each_kind_is_told_by_its_word_without_colour(kind: ChangeKind) -> None:
    change = NodeChange(kind=kind, bus="usb", before=node("camera"), after=node("camera"))
    rows = plain(diff_view(Changes(nodes=(change,)), 80, PROFILE), 80).splitlines()
    row = next(row for row in rows if row.endswith("Larch Camera (1209:0003)"))
    assert kind.value in row.lower()


def test_what_went_along_is_counted_apart_from_its_cause() -> None:
    only = Changes(nodes=CHANGES.nodes[1:4])
    assert changes_sentence(only) == "1 gone, 2 nodes went with them"


def test_another_board_is_noted() -> None:
    other = Changes(unit=(FactChange(field="product_serial", before="LG-0001-DEMO", after="LG-0002-DEMO"),))
    text = " ".join(plain(diff_view(other, 80, PROFILE), 80).split())
    assert "Note: firmware names another machine" in text
    assert "product_serial: LG-0001-DEMO → LG-0002-DEMO" in text


@pytest.mark.parametrize("profile", [None, PROFILE], ids=["no profile", "profile"])
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_the_page(text: str, profile: Profile | None) -> None:
    shown = plain(diff_view(poisoned(CHANGES, text), 80, profile), 80)
    assert all(row.isprintable() for row in shown.removesuffix("\n").split("\n"))
    assert json_text(changes_document(poisoned(CHANGES, text))).isascii()


def _heading(before: Capture, after: Capture, times: tuple[str, str]) -> str:
    return plain(diff_heading_view(before, after, times, ("before.json", "after.json")), 120)


def test_the_files_are_named_where_a_time_is_missing() -> None:
    assert "before.json" not in _heading(capture(), capture(), ("14:05", "15:05"))
    text = _heading(capture(), capture(), ("14:05", ""))
    assert "captured 14:05, before.json" in text
    assert "time of capture not recorded, after.json" in text


def test_a_capture_without_a_model_need_not_be_of_the_same_unit() -> None:
    nameless = capture(unit=UnitStrings())
    said = "gives no model, so nothing shows that both are of one unit"
    assert f"Note: B {said}" in _heading(capture(), nameless, ("", ""))
    assert f"Note: A {said}" in _heading(nameless, capture(), ("", ""))
    assert said not in _heading(capture(), capture(), ("", ""))
    assert said not in _heading(nameless, nameless, ("", ""))


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_name_of_a_file_can_break_the_heading(text: str) -> None:
    page = plain(diff_heading_view(capture(), capture(), ("", ""), (text, text)), 80)
    assert all(row.isprintable() for row in page.removesuffix("\n").split("\n"))

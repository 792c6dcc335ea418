"""The block that goes first in the check of a returning unit."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from support.golden import assert_golden
from support.hostile import HOSTILE, poisoned
from support.looking import look
from support.make_captures import SHIPPED
from support.returned import LARCH_13, PACK, REPAIRED, RETURNED, since, with_facts
from support.sysfs import Conditions, build
from support.units import MOUSE

from usbwatch.model import Capture, DeviceSince, Fitted, SinceBaseline, Wear
from usbwatch.model.changes import ChangeKind, FactChange, NodeChange
from usbwatch.show import json_text, plain, since_view
from usbwatch.show.lines import cells
from usbwatch.show.since_view import since_sentence, since_value

GOLDEN = Path(__file__).parent / "golden"


def _looked_at() -> Capture:
    """The repaired unit with its top case lost again, a camera that fell back, and a mouse of the bench."""
    worse = Conditions(
        kernel="6.12.0",
        missing=("keyboard", "touchpad", "fingerprint-reader"),
        battery="silent",
        slow={"camera": 12},
        sockets=(MOUSE,),
    )
    with tempfile.TemporaryDirectory() as folder:
        root = build(SHIPPED["larch-13-repaired"].laptop, Path(folder) / "unit", worse)
        return look(root, taken_at="2026-09-08T08:25:00Z")


WORN = with_facts(REPAIRED, "power_supply", PACK, {"charge_full": 3_900_000, "cycle_count": 141})

RETURNED_UNIT = since(REPAIRED, RETURNED)
WORSE_UNIT = since(REPAIRED, _looked_at())
WORN_UNIT = since(REPAIRED, replace(WORN, taken_at="2026-09-08T08:25:00Z"))

EVERYTHING = SinceBaseline(
    taken_at="2026-03-06T15:40:00Z",
    days=186,
    unit=(DeviceSince(device="unit", fitted=Fitted.SAME, why="product serial number"),),
    devices=tuple(
        DeviceSince(
            device=device,
            fitted=answer,
            where=f"pci0000:00/14.0/usb2/{at}",
            told_by=(FactChange(field="USB serial number", before="LG-A001-DEMO", after="LG-A002-DEMO"),),
            why="a reason",
        )
        for at, (device, answer) in enumerate(zip(("disk", "battery", "camera", "bluetooth"), Fitted, strict=False))
    ),
    wear=(Wear(device="battery", same=None, unit="mWh", design=50_000, full_now=41_000, full_then=43_000, days=186),),
    others=tuple(
        NodeChange(kind=kind, bus="usb", before=node, after=node)
        for kind, node in zip(ChangeKind, REPAIRED.nodes, strict=False)
    ),
)


def page(found: SinceBaseline, width: int = 80) -> str:
    return plain(since_view(found, LARCH_13), width)


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize(
    ("name", "found"),
    [("returned", RETURNED_UNIT), ("lost", WORSE_UNIT), ("worn", WORN_UNIT)],
    ids=lambda one: str(one)[:8],
)
def test_the_block_is_as_stored(name: str, found: SinceBaseline, width: int) -> None:
    assert_golden(GOLDEN, f"since-{name}-{width}.txt", page(found, width))


def test_another_part_stands_before_wear_and_wear_before_what_is_the_same() -> None:
    text = page(RETURNED_UNIT)
    places = [text.index(word) for word in ("ANOTHER ONE", "battery serial number: LG-B001", "wear  ", "same  ")]
    assert places == sorted(places)


def test_parts_stand_by_subassembly_in_the_profiles_order() -> None:
    rows = [row for row in page(WORSE_UNIT).splitlines() if " GONE " in row]
    assert [row.split("  ")[-2:] for row in rows] == [
        ["TOP CASE", name] for name in ("Keyboard", "Touchpad", "Fingerprint reader")
    ]


def test_what_else_changed_follows_with_its_subassembly_and_no_helper_device() -> None:
    text = page(WORSE_UNIT)
    assert "DISPLAY ASSEMBLY  Larch Camera (1209:0003)" in text
    assert "speed_kbps: 480000 → 12000" in text
    assert "Mouse" not in text


def test_wear_of_the_same_pack_is_told_then_and_now() -> None:
    """100 x 3900 / 4390 is 88.8 and 100 x 4105 / 4390 is 93.5; the pack left with 87 cycles."""
    text = " ".join(page(WORN_UNIT).split())
    assert "full 3900 of 4390 mAh (89%), 141 cycles" in text
    assert "then 4105 mAh (94%), 87 cycles: 205 mAh less, 54 cycles more in 186 days" in text


def test_of_another_pack_nothing_is_compared() -> None:
    text = " ".join(page(RETURNED_UNIT).split())
    assert "full 3246 of 4390 mAh (74%), 312 cycles" in text
    assert "nothing to compare it with: not the pack of the baseline" in text
    assert "then 4105" not in text


def test_where_the_pack_cannot_be_told_the_wear_has_its_condition() -> None:
    assert "2000 mWh less, if it is still the same pack" in " ".join(page(EVERYTHING, 120).split())


def test_nothing_changed_says_only_what_was_shown() -> None:
    assert since_sentence(since(REPAIRED, REPAIRED)) == (
        "Nothing shows another part than was fitted; 7 same, 14 cannot be told."
    )


@pytest.mark.parametrize("width", [60, 80, 100, 120])
@pytest.mark.parametrize(
    "found", [RETURNED_UNIT, WORSE_UNIT, WORN_UNIT, EVERYTHING], ids=["pack", "lost", "worn", "all"]
)
def test_no_line_is_wider_than_the_page(found: SinceBaseline, width: int) -> None:
    assert max(cells(row) for row in page(found, width).splitlines()) <= width


@pytest.mark.parametrize("answer", Fitted, ids=[answer.value for answer in Fitted])
def test_each_answer_is_told_by_sign_and_word_without_colour(answer: Fitted) -> None:
    one = DeviceSince(device="camera", fitted=answer, where="pci0000:00/14.0/usb2/5", why="a reason")
    rows = page(SinceBaseline(taken_at="2026-03-06T15:40:00Z", devices=(one,))).splitlines()
    row = next(row for row in rows if "Camera" in row)
    assert answer.value.removesuffix(" one") in row.lower()
    assert row[0] in "≠✗+✓?"


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_string_can_break_the_block(text: str) -> None:
    for found in (EVERYTHING, RETURNED_UNIT, WORSE_UNIT):
        bad = poisoned(found, text)
        shown = plain(since_view(bad, LARCH_13, text and "2026-03-06"), 80)
        assert all(row.isprintable() for row in shown.removesuffix("\n").split("\n"))
        assert json_text(since_value(bad)).isascii()


def test_the_value_in_a_document_names_what_is_not_as_fitted() -> None:
    document = json.loads(json_text(since_value(RETURNED_UNIT)))
    assert document["days"] == 186
    assert document["not_as_fitted"] == ["battery"]
    (battery,) = [one for one in document["devices"] if one["device"] == "battery"]
    assert (battery["fitted"], battery["told_by"]) == (
        "another one",
        [{"field": "battery serial number", "before": "LG-B001-DEMO", "after": "LG-B104-DEMO"}],
    )
    assert (document["wear"][0]["percent_now"], document["wear"][0]["same"]) == (74, False)

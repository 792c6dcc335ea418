"""The harness as a drawing: every subassembly once, at the end of its links."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.invented import PROFILE

from usbwatch.model import ExpectedDevice, Part, PartKind, Profile
from usbwatch.show import Style, plain
from usbwatch.show.harness_drawing import Mark, drawing


def board(name: str) -> Part:
    return Part(id=name, kind=PartKind.SUBASSEMBLY, name=name)


def cable(one: str, other: str, name: str = "") -> Part:
    id_ = name or f"{one}-{other}"
    return Part(id=id_, kind=PartKind.LINK, name=id_, joins=(one, other))


def unit(*parts: Part, devices: tuple[ExpectedDevice, ...] = ()) -> Profile:
    return Profile(id="p", name="p", source="invented", parts=parts, devices=devices)


def drawn(profile: Profile, width: int = 80) -> list[str]:
    return plain(drawing(profile, {}, width), width).splitlines()


def test_what_hangs_on_what_is_drawn_as_lines() -> None:
    screen = ExpectedDevice(id="panel", name="Panel", function="panel", within="lid")
    probe = ExpectedDevice(id="probe", name="Probe", function="sensor", within="lid", optional=True)
    profile = unit(
        *(board(name) for name in ("main", "case", "pack", "lid")),
        cable("main", "case", "flex"),
        cable("case", "pack", "plug"),
        cable("main", "lid", "cable"),
        cable("main", "lid", "touch"),
        devices=(screen, probe),
    )
    assert drawn(profile) == [
        "  [MAIN]",
        "   ├─ flex ─────[CASE]",
        "   │             └─ plug ────[PACK]",
        "   ├─ cable ──┐",
        "   └─ touch ──┴─[LID] Panel, Probe~",
    ]


def test_a_sign_stands_before_the_name_of_what_it_is_said_of() -> None:
    marks = {"flex": Mark(sign="?", style=Style.WRONG), "case": Mark(sign="h", style=Style.CAUTION)}
    lines = drawing(unit(board("main"), board("case"), cable("main", "case", "flex")), marks, 80)
    assert plain(lines, 80).splitlines()[-1] == "   └─ ? flex ────[h CASE]"


def test_a_link_that_closes_a_ring_is_named_below() -> None:
    parts = (*(board(name) for name in "abc"), cable("a", "b"), cable("a", "c"), cable("b", "c"))
    assert drawn(unit(*parts))[-1] == "  b-c: b to c"


def test_a_board_that_no_link_joins_stands_by_itself() -> None:
    assert "  [C]" in drawn(unit(board("a"), board("b"), board("c"), cable("a", "b")))


def test_a_chain_too_deep_for_the_page_goes_on_from_the_left() -> None:
    names = [f"board{number}" for number in range(60)]
    parts = (*map(board, names), *(cable(*pair) for pair in pairwise(names)))
    lines = drawn(unit(*parts), 60)
    assert any(line.endswith("(below)") for line in lines)
    text = "\n".join(lines)
    assert all(f"[{name.upper()}]" in text for name in names)
    assert max(map(len, lines)) <= 60


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_lines_of_the_harness_run_on_beside_devices_that_take_several(width: int) -> None:
    many = tuple(
        ExpectedDevice(id=f"d{number}", name=f"Device {number}", function="sensor", within="case")
        for number in range(30)
    )
    profile = unit(
        *(board(name) for name in ("main", "case", "lid")), cable("main", "case"), cable("main", "lid"), devices=many
    )
    lines = drawn(profile, width)
    start = next(number for number, line in enumerate(lines) if "[CASE]" in line)
    between = lines[start + 1 : -1]
    assert len(between) > 1
    assert all(line.startswith("   │ ") and "Device" in line for line in between)


@pytest.mark.properties
@settings(deadline=None)
@given(data=st.data(), width=st.integers(24, 130))
def test_every_subassembly_is_drawn_once_and_every_link_is_named(data: st.DataObject, width: int) -> None:
    names = [f"b{number}" for number in range(data.draw(st.integers(1, 12)))]
    ends = st.tuples(st.sampled_from(names), st.sampled_from(names)).filter(lambda pair: pair[0] != pair[1])
    pairs = data.draw(st.lists(ends, max_size=14)) if len(names) > 1 else []
    links = tuple(cable(*pair, f"l{number}") for number, pair in enumerate(pairs))
    lines = drawn(unit(*map(board, names), *links), width)
    text = "\n".join(lines)
    assert max(map(len, lines)) <= width
    below = sum(line.endswith("(below)") for line in lines)
    assert sum(text.count(f"[{name.upper()}]") for name in names) == len(names) + below
    words = text.replace(":", " ").split()
    assert all(link.name in words for link in links)


def test_the_invented_unit_has_all_its_devices_in_it() -> None:
    text = " ".join(" ".join(drawn(PROFILE)).split())
    assert all(device.name in text for device in PROFILE.devices)

"""Which node of one capture is which of another."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.two_looks import XHCI, usb, with_parts

from usbwatch.compare.partners import Key, beyond, partners
from usbwatch.model import Kind, Node, Rung


def by_key(*nodes: Node) -> dict[Key, Node]:
    return {(node.bus, node.location): node for node in nodes}


def paired(before: tuple[Node, ...], after: tuple[Node, ...], *, comparable: bool = True) -> set[tuple[str, str]]:
    """The pairs by port chain, "" for no partner; pairs that stayed in place are left out."""
    pairs = partners(by_key(*before), by_key(*after), comparable=lambda _: comparable)
    chains = {tuple(node.location.removeprefix(f"{XHCI}/") if node else "" for node in pair): pair for pair in pairs}
    return {(old, new) for old, new in chains if old != new}


BIG, SMALL, TINY = "1209:0001", "1209:0002", "1209:0003"


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        pytest.param({"1": BIG}, {"2": BIG}, {("1", "2")}, id="moved"),
        pytest.param({"1": BIG}, {"1": SMALL}, set(), id="replaced in place"),
        pytest.param({"1": BIG}, {"1": ""}, set(), id="silent in place"),
        pytest.param({"1": ""}, {"2": ""}, {("1", ""), ("", "2")}, id="no identity, no move"),
        pytest.param({"1": BIG, "2": BIG}, {"2": BIG}, {("1", "")}, id="what stayed is settled first"),
        pytest.param({"1": BIG}, {"1": "", "2": BIG}, {("", "2")}, id="silent in place, the same elsewhere"),
        pytest.param(
            {"1": BIG, "2": SMALL},
            {"1": TINY, "2": BIG},
            {("1", "2"), ("2", ""), ("", "1")},
            id="a move beats two replacements",
        ),
        pytest.param({"1": BIG, "2": SMALL}, {"2": BIG, "1": SMALL}, {("1", "2"), ("2", "1")}, id="swapped"),
        pytest.param(
            {"4.1": BIG, "4.2": BIG},
            {"5.1": BIG, "5.2": BIG},
            {("4.1", "5.1"), ("4.2", "5.2")},
            id="alike ports of another hub",
        ),
        pytest.param({"4.1": BIG}, {"5": BIG, "4.2": BIG}, {("4.1", "4.2"), ("", "5")}, id="the nearest place"),
        pytest.param(
            {"1": BIG, "2": BIG, "3": SMALL},
            {"1": SMALL, "4": BIG},
            {("3", "1"), ("2", "4"), ("1", "")},
            id="one of two alike",
        ),
    ],
)
def test_who_is_who(before: dict[str, str], after: dict[str, str], expected: set[tuple[str, str]]) -> None:
    first, second = (tuple(usb(chain, identity) for chain, identity in side.items()) for side in (before, after))
    assert paired(first, second) == expected
    assert paired(second, first) == {(new, old) for old, new in expected}


def test_nothing_moves_where_a_bus_was_not_seen_in_full() -> None:
    assert paired((usb("1", BIG),), (usb("2", BIG),), comparable=False) == {("1", ""), ("", "2")}


def test_an_identity_on_another_bus_is_another_thing() -> None:
    elsewhere = replace(usb("2", BIG), bus="hid")
    assert paired((usb("1", BIG),), (elsewhere,)) == {("1", ""), ("", "2")}


def test_a_device_takes_its_parts_to_where_it_went() -> None:
    assert paired(with_parts(usb("4.1", BIG)), with_parts(usb("4.2", BIG))) == {
        ("4.1", "4.2"),
        ("4.1/if0", "4.2/if0"),
        ("4.1/if0/hid", "4.2/if0/hid"),
    }


def test_an_interface_of_one_device_is_not_that_of_another() -> None:
    assert paired(with_parts(usb("4.1", BIG))[:2], with_parts(usb("1", SMALL))[:2]) == {
        ("4.1", ""),
        ("4.1/if0", ""),
        ("", "1"),
        ("", "1/if0"),
    }


def test_a_part_without_identity_goes_along() -> None:
    def camera(chain: str) -> tuple[Node, Node]:
        video = Node(bus="video", location=f"{XHCI}/{chain}/if0/video", kind=Kind.FUNCTION, rung=Rung.WORKING)
        return usb(chain, BIG), video

    assert ("5/if0/video", "6/if0/video") in paired(camera("5"), camera("6"))


def _video(chain: str) -> Node:
    return Node(bus="video", location=f"{XHCI}/{chain}/if0", kind=Kind.FUNCTION, rung=Rung.WORKING)


def test_a_part_does_not_go_along_with_two() -> None:
    torn = (usb("4", BIG), replace(usb("4", SMALL), bus="hid"))
    apart = (usb("5", BIG), replace(usb("6", SMALL), bus="hid"))
    assert paired((*torn, _video("4")), (*apart, _video("5"), _video("6"))) >= {
        ("4/if0", ""),
        ("", "5/if0"),
        ("", "6/if0"),
    }


def test_a_part_of_what_came_from_elsewhere_is_not_what_was_there() -> None:
    before = (usb("4", BIG), usb("9", SMALL), _video("4.1"))
    after = (usb("5", BIG), usb("5.1", SMALL), _video("5.1"))
    assert paired(before, after) == {("4", "5"), ("9", "5.1"), ("4.1/if0", ""), ("", "5.1/if0")}
    assert paired(after, before) == {("5", "4"), ("5.1", "9"), ("5.1/if0", ""), ("", "4.1/if0")}


def test_function_nodes_of_one_identity_are_told_by_name() -> None:
    lid, button = (
        replace(_video(place), identity="0000:0005", name=name) for place, name in (("1", "Lid"), ("2", "Power"))
    )
    assert paired((lid,), (button,)) == {("1/if0", ""), ("", "2/if0")}
    assert paired((lid,), (replace(button, name="Lid"),)) == {("1/if0", "2/if0")}


SIDES = st.dictionaries(st.sampled_from(("1", "2", "3", "4.1", "4.2")), st.sampled_from((BIG, SMALL, TINY)), max_size=4)


@pytest.mark.parametrize(
    ("was", "is_", "expected"),
    [
        ("fixed", "removable", {("4.1", ""), ("", "1")}),
        ("removable", "fixed", {("4.1", ""), ("", "1")}),
        ("fixed", "fixed", {("4.1", "1")}),
        ("removable", "removable", {("4.1", "1")}),
        ("fixed", "unknown", {("4.1", "1")}),
    ],
)
def test_what_is_fixed_in_the_unit_has_not_moved_to_where_its_twin_can_be_pulled_out(
    was: str, is_: str, expected: set[tuple[str, str]]
) -> None:
    """Documentation/ABI/testing/sysfs-bus-usb: ``removable`` of a device is fixed, removable or unknown."""

    def seated(chain: str, seat: str) -> Node:
        return replace(usb(chain, BIG), facts={"removable": seat})

    assert paired((seated("4.1", was),), (seated("1", is_),)) == expected


@pytest.mark.properties
@given(SIDES, SIDES)
def test_most_moves_then_most_replacements_then_nearest(before: dict[str, str], after: dict[str, str]) -> None:
    left = {chain: identity for chain, identity in before.items() if after.get(chain) != identity}
    right = {chain: identity for chain, identity in after.items() if before.get(chain) != identity}
    first, second = (tuple(usb(chain, identity) for chain, identity in side.items()) for side in (before, after))
    pairs = partners(by_key(*first), by_key(*second), comparable=lambda _: True)
    both = [(old, new) for old, new in pairs if old and new]
    moved = [(old.location, new.location) for old, new in both if old.location != new.location]
    replaced = [old for old, new in both if old.location == new.location and old.identity != new.identity]
    assert (len(moved), len(replaced), -sum(map(_hops, moved))) == max(_all_ways(left, right))


def _hops(pair: tuple[str, str]) -> int:
    one, other = (location.removeprefix(f"{XHCI}/").split(".") for location in pair)
    return sum(hop != another for hop, another in itertools.zip_longest(one, other))


def _all_ways(left: dict[str, str], right: dict[str, str]) -> list[tuple[int, int, int]]:
    """Moves, replacements and hops (less than nothing) of every possible pairing."""
    ways = []
    for choice in itertools.product([*right, ""], repeat=len(left)):
        pairs = [(old, new) for old, new in zip(left, choice, strict=True) if new]
        if len({new for _, new in pairs}) < len(pairs):
            continue
        if any(old != new and left[old] != right[new] for old, new in pairs):
            continue
        moves = [pair for pair in pairs if pair[0] != pair[1]]
        ways.append((len(moves), len(pairs) - len(moves), -sum(map(_hops, moves))))
    return ways


def test_hundreds_of_devices_alike_are_paired_while_one_waits() -> None:
    before = tuple(usb(f"1.{number}", BIG) for number in range(60))
    after = tuple(usb(f"2.{number}", BIG) for number in range(60))
    assert paired(before, after) == {(f"1.{number}", f"2.{number}") for number in range(60)}


def test_a_made_up_crowd_is_told_as_gone_and_new() -> None:
    before = tuple(usb(f"1.{number}", BIG) for number in range(2000))
    after = tuple(usb(f"2.{number}", BIG) for number in range(2000))
    assert all("" in pair for pair in paired(before, after))


def test_what_a_location_hangs_on_nearest_first() -> None:
    assert list(beyond("pci0000:00/14.0/usb2/4.1")) == [
        "pci0000:00/14.0/usb2/4",
        "pci0000:00/14.0/usb2",
        "pci0000:00/14.0",
        "pci0000:00/14",
        "pci0000:00",
    ]


def test_a_location_without_end_is_followed_for_a_while_only() -> None:
    assert len(list(beyond("a." * 100_000))) < 100

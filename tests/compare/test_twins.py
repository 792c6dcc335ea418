"""Which two ports are one connector.

``find_and_link_peer`` in drivers/usb/core/port.c: by ``location`` where
firmware gives one; at a root hub without one by number, which proves nothing;
at a hub behind it by number, which holds.
"""

from __future__ import annotations

import pytest

from usbwatch.compare.twins import twin, twins_of, usb2_twins
from usbwatch.model import ExpectedDevice, Fact, Kind, Node, Rung

XHCI = "pci0000:00/14.0"
HIGH, FAST = f"{XHCI}/usb2", f"{XHCI}/usb3"
PLACED, UNPLACED = "0x80000004", "0x00000000"


def port(place: str, **facts: Fact) -> Node:
    return Node(bus="usb-port", location=place, kind=Kind.PORT, rung=Rung.ABSENT, facts=facts)


def known(*ports: Node) -> dict[str, Node]:
    return {one.location: one for one in ports}


CASES = {
    "firmware gives both ports one place": (
        known(port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED)),
        f"{FAST}/2",
        f"{HIGH}/5",
    ),
    "paired by number at a root hub": (
        known(port(f"{FAST}/2", peer=f"{HIGH}/2", location=UNPLACED)),
        f"{FAST}/2",
        "",
    ),
    "no location at all": (known(port(f"{FAST}/2", peer=f"{HIGH}/2")), f"{FAST}/2", ""),
    "no pair": (known(port(f"{FAST}/2", location=PLACED)), f"{FAST}/2", ""),
    "paired by number at a hub": (
        known(
            port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED),
            port(f"{FAST}/2.3", peer=f"{HIGH}/5.3", location=UNPLACED),
        ),
        f"{FAST}/2.3",
        f"{HIGH}/5.3",
    ),
    "paired by number at a hub whose own pair is a guess": (
        known(
            port(f"{FAST}/2", peer=f"{HIGH}/2", location=UNPLACED),
            port(f"{FAST}/2.3", peer=f"{HIGH}/2.3", location=UNPLACED),
        ),
        f"{FAST}/2.3",
        "",
    ),
    "the SuperSpeed half of a hub is gone, and its ports with it": (
        known(port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED)),
        f"{FAST}/2.3",
        f"{HIGH}/5.3",
    ),
    "the same two hubs deep": (
        known(port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED)),
        f"{FAST}/2.3.1",
        f"{HIGH}/5.3.1",
    ),
    "a port that nobody lists": ({}, f"{FAST}/2", ""),
    "no USB at all": ({}, "acpi/_SB_.BAT0", ""),
}


@pytest.mark.parametrize(("ports", "place", "expected"), CASES.values(), ids=CASES.keys())
def test_the_other_port_of_a_connector(ports: dict[str, Node], place: str, expected: str) -> None:
    assert twin(place, ports) == expected


def test_only_superspeed_places_have_a_usb_2_port_to_fall_back_to() -> None:
    ports = known(
        port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED), port(f"{HIGH}/5", peer=f"{FAST}/2", location=PLACED)
    )
    assert usb2_twins([f"{FAST}/2", f"{HIGH}/5", f"{FAST}/3"], ports) == {f"{HIGH}/5": f"{FAST}/2"}


def test_at_a_place_that_the_profile_names_a_device_is_where_it_should_be() -> None:
    ports = known(port(f"{FAST}/2", peer=f"{HIGH}/5", location=PLACED))
    fast, both = (
        ExpectedDevice(id="a", name="a", function="camera", within="board", locations=places)
        for places in ((f"{FAST}/2",), (f"{FAST}/2", f"{HIGH}/5"))
    )
    assert (twins_of(fast, ports), twins_of(both, ports)) == ({f"{HIGH}/5": f"{FAST}/2"}, {})

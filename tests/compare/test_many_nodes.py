"""What every expected device asks of every node is worked out once a node: a hostile capture may have very many."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.bench import PROFILE_TOML, small_capture

from usbwatch.compare.pairing import pair
from usbwatch.compare.scene import Placing, Scene, scene
from usbwatch.model import Kind, Node, Rung
from usbwatch.profile import parse


def test_where_a_node_belongs_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    profile = parse(PROFILE_TOML, "plover-small.toml")
    expected = tuple(replace(profile.devices[0], id=f"keyboard-{number}") for number in range(20))
    strangers = tuple(
        Node(
            bus="usb",
            location=f"pci0000:00/14.0/usb2/{port}",
            kind=Kind.DEVICE,
            rung=Rung.WORKING,
            identity="1209:0001",
        )
        for port in range(10, 60)
    )
    seen = scene(replace(small_capture(), nodes=strangers), profile)
    asked: list[str] = []
    worked_out = Scene._placing

    def counting(self: Scene, node: Node) -> Placing:
        asked.append(node.location)
        return worked_out(self, node)

    monkeypatch.setattr(Scene, "_placing", counting)
    pair(expected, seen)
    assert sorted(asked) == sorted(node.location for node in strangers)
    assert {seen.placing(node) for node in strangers} == {Placing.UNKNOWN}

"""A unit comes apart into its subassemblies, each by its own links."""

from __future__ import annotations

from dataclasses import replace

from support.invented import PROFILE

from usbwatch.model import ExpectedDevice, Part, PartKind
from usbwatch.show.harness import stubs


def test_each_subassembly_names_its_links_and_what_they_lead_to() -> None:
    found = {
        stub.part.id: ([link.id for link in stub.links], stub.toward.id if stub.toward else "")
        for stub in stubs(PROFILE)
        if stub.part
    }
    assert found == {
        "top-case": (["top-case-flex"], "mainboard"),
        "display": (["display-cable"], "mainboard"),
        "battery-pack": (["battery-plug"], "mainboard"),
        "mainboard": ([], ""),
    }


def test_a_daughterboard_behind_a_daughterboard_leads_to_it() -> None:
    far = (
        Part(id="far", kind=PartKind.SUBASSEMBLY, name="Far board"),
        Part(id="far-cable", kind=PartKind.LINK, name="Far cable", joins=("far", "display")),
    )
    stub = next(
        one for one in stubs(replace(PROFILE, parts=(*PROFILE.parts, *far))) if one.part and one.part.id == "far"
    )
    assert (stub.links, stub.toward and stub.toward.id) == ((far[1],), "display")


def test_every_device_stands_in_exactly_one_stub() -> None:
    odd = ExpectedDevice(id="odd", name="Odd", function="audio", within="usb-section")
    lost = ExpectedDevice(id="lost", name="Lost", function="audio", within="nowhere")
    profile = replace(PROFILE, devices=(*PROFILE.devices, odd, lost))
    placed = {device.id: stub.part.id if stub.part else "" for stub in stubs(profile) for device in stub.devices}
    assert set(placed) == {device.id for device in profile.devices}
    assert (placed["odd"], placed["lost"]) == ("mainboard", "")


def test_a_profile_without_links_still_comes_apart() -> None:
    bare = replace(PROFILE, parts=tuple(part for part in PROFILE.parts if part.kind is PartKind.SUBASSEMBLY))
    assert [(stub.links, stub.toward) for stub in stubs(bare)] == [((), None)] * 4

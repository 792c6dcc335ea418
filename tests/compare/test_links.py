"""PCI Express links: against the figures of a profile, and without them told beside the finding.

Attributes of a link: drivers/pci/pci-sysfs.c, which shows 255 lanes where there is no link.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from conftest import BuiltTree
from support.looking import look
from support.sysfs import HEALTHY, Conditions
from support.tree.parts import UsbPart
from support.units import HERON, LARCH, STICK

from usbwatch.compare import findings
from usbwatch.model import Capture, Finding, Profile, Symptom, Verdict
from usbwatch.profile import find

LARCH_PROFILE, PLAIN = find("fernhill-larch-13"), find("brackwell-heron-14")
FULL_SPEED = "8.0 GT/s PCIe"
BRIDGE, DISK = "pci0000:00/1d.0", "pci0000:00/1d.0/00.0"


def with_figures(profile: Profile, lanes: int | None, link_gts: float | None, *devices: str) -> Profile:
    """The profile with the link of a healthy unit given, or taken away, for some devices."""
    changed = (replace(one, lanes=lanes, link_gts=link_gts) if one.id in devices else one for one in profile.devices)
    return replace(profile, devices=tuple(changed))


UNKNOWING = with_figures(PLAIN, None, None, "disk", "wlan")
X4 = with_figures(PLAIN, 4, 8.0, "disk")
X1 = with_figures(PLAIN, 1, 8.0, "wlan")


def of(capture: Capture, profile: Profile, device: str = "disk") -> Finding:
    return findings(capture, profile).of(device)


def about_link(finding: Finding) -> list[str]:
    return [reason for reason in finding.reasons if "link runs at" in reason]


LINKS = {
    "two lanes of four": ("disk", X4, (FULL_SPEED, 2), "x2; a healthy one runs at x4"),
    "one lane of four": ("disk", X4, (FULL_SPEED, 1), "x1; a healthy one runs at x4"),
    "slowest speed": ("disk", X4, ("2.5 GT/s PCIe", 4), "2.5 GT/s; a healthy one runs at 8 GT/s"),
    "both": ("disk", X4, ("5.0 GT/s PCIe", 1), "x1 and 5 GT/s; a healthy one runs at x4 and 8 GT/s"),
    "wireless card": ("wlan", X1, ("2.5 GT/s PCIe", 1), "2.5 GT/s; a healthy one runs at 8 GT/s"),
}


@pytest.mark.parametrize(("device", "profile", "link", "told"), LINKS.values(), ids=LINKS)
def test_a_link_below_that_of_a_healthy_unit_is_degraded(
    built_tree: BuiltTree, device: str, profile: Profile, link: tuple[str, int], told: str
) -> None:
    finding = of(look(built_tree(HERON, Conditions(slow_links={device: link}))), profile, device)
    assert (finding.verdict, finding.symptom) == (Verdict.IMPAIRED, Symptom.DEGRADED)
    assert finding.reasons[0] == f"its PCI Express link runs at {told}"


UNTOLD = "both ends can do more, and the profile does not say what a healthy one does"
TOLD = {
    "two lanes of four": ((FULL_SPEED, 2), "x2 of x4"),
    "slowest speed": (("2.5 GT/s PCIe", 4), "2.5 GT/s of 8 GT/s"),
    "both": (("5.0 GT/s PCIe", 1), "x1 of x4 and 5 GT/s of 8 GT/s"),
}


@pytest.mark.parametrize(("link", "told"), TOLD.values(), ids=TOLD)
def test_without_a_figure_a_link_below_both_its_ends_is_told_and_held_against_nothing(
    built_tree: BuiltTree, link: tuple[str, int], told: str
) -> None:
    """A board may have two lanes wired to a slot of four: every unit of the model is like that."""
    finding = of(look(built_tree(HERON, Conditions(slow_links={"disk": link}))), UNKNOWING)
    assert (finding.verdict, finding.symptom) == (Verdict.PRESENT, Symptom.WORKING)
    assert about_link(finding) == [f"its link runs at {told}: {UNTOLD}"]


def test_a_link_as_wide_as_that_of_a_healthy_unit_needs_no_word(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON, Conditions(slow_links={"disk": (FULL_SPEED, 2)})))
    finding = of(capture, with_figures(PLAIN, 2, None, "disk"))
    assert (finding.verdict, about_link(finding)) == (Verdict.PRESENT, [])


def test_a_whole_link_is_no_finding(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON))
    for device, profile in (("disk", X4), ("wlan", X1), ("disk", UNKNOWING)):
        assert (of(capture, profile, device).verdict, about_link(of(capture, profile, device))) == (Verdict.PRESENT, [])


def test_a_disk_on_the_root_complex_is_held_against_the_profile_alone(built_tree: BuiltTree) -> None:
    """The Larch's disk is a function of bus 0: the other end of its link is not shown."""
    capture = look(built_tree(LARCH, Conditions(slow_links={"disk": (FULL_SPEED, 1)})))
    without, given = (of(capture, with_figures(LARCH_PROFILE, lanes, None, "disk")) for lanes in (None, 4))
    assert (without.verdict, about_link(without)) == (Verdict.PRESENT, [])
    assert (given.verdict, given.symptom) == (Verdict.IMPAIRED, Symptom.DEGRADED)


def changed(capture: Capture, facts: dict[str, dict[str, str]]) -> Capture:
    """The capture with other facts of some PCI functions, by location."""
    nodes = (
        replace(node, facts={**node.facts, **facts[node.location]})
        if node.bus == "pci" and node.location in facts
        else node
        for node in capture.nodes
    )
    return replace(capture, nodes=tuple(nodes))


SILENT = {
    "the port above has no more lanes": ((FULL_SPEED, 2), {BRIDGE: {"max_link_width": "2"}}),
    "the port above is no faster": (("5.0 GT/s PCIe", 4), {BRIDGE: {"max_link_speed": "5.0 GT/s PCIe"}}),
    "the part itself is no faster": (("5.0 GT/s PCIe", 4), {DISK: {"max_link_speed": "5.0 GT/s PCIe"}}),
    "the port above was asleep": ((FULL_SPEED, 2), {BRIDGE: {"max_link_width": ""}}),
    "the kernel knows no width": ((FULL_SPEED, 2), {DISK: {"current_link_width": "0"}}),
    "ends without a link show 255": (
        (FULL_SPEED, 2),
        {DISK: {"max_link_width": "255"}, BRIDGE: {"max_link_width": "255"}},
    ),
    "a width that is no number": ((FULL_SPEED, 2), {DISK: {"current_link_width": "\u00b2"}}),
    "what is above is no bridge": ((FULL_SPEED, 2), {BRIDGE: {"class": "060000"}}),
}


@pytest.mark.parametrize(("link", "facts"), SILENT.values(), ids=SILENT)
def test_a_link_that_is_not_known_at_both_ends_says_nothing(
    built_tree: BuiltTree, link: tuple[str, int], facts: dict[str, dict[str, str]]
) -> None:
    capture = look(built_tree(HERON, Conditions(slow_links={"disk": link})))
    assert about_link(of(capture, UNKNOWING))
    finding = of(changed(capture, facts), UNKNOWING)
    assert (finding.verdict, about_link(finding)) == (Verdict.PRESENT, [])


def test_a_width_of_255_is_none_against_a_profile_too(built_tree: BuiltTree) -> None:
    capture = changed(look(built_tree(HERON)), {DISK: {"current_link_width": "255"}})
    assert of(capture, X4).verdict is Verdict.PRESENT


GRAPHICS_LINKS = {"speed": (("2.5 GT/s PCIe", 4), Verdict.PRESENT), "width": ((FULL_SPEED, 2), Verdict.IMPAIRED)}


@pytest.mark.parametrize(("link", "verdict"), GRAPHICS_LINKS.values(), ids=GRAPHICS_LINKS)
def test_graphics_may_slow_its_link_down_and_not_narrow_it(
    built_tree: BuiltTree, link: tuple[str, int], verdict: Verdict
) -> None:
    """Common practice, no source. The disk's function stands in for a graphics chip behind a bridge."""
    capture = look(built_tree(HERON, Conditions(slow_links={"disk": link})))
    nodes = tuple(
        replace(node, functions=("disk", "graphics")) if (node.bus, node.location) == ("pci", DISK) else node
        for node in capture.nodes
    )
    assert of(replace(capture, nodes=nodes), X4).verdict is verdict


def test_what_hangs_on_a_usb_controller_is_not_charged_with_the_controllers_link(built_tree: BuiltTree) -> None:
    helper: UsbPart = replace(STICK, port="3")
    capture = look(built_tree(LARCH, replace(HEALTHY, sockets=(helper,))))
    narrow = {"current_link_width": "1", "max_link_width": "4"}
    everywhere = {node.location: narrow for node in capture.nodes if node.bus == "pci"}
    finding = of(changed(capture, everywhere), with_figures(LARCH_PROFILE, 4, None, "card-reader"), "card-reader")
    assert (finding.verdict, about_link(finding)) == (Verdict.PRESENT, [])

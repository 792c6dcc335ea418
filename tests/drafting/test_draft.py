"""A draft is a sound profile as it is written, whatever was captured, and says what it was told by."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from hypothesis import given, settings
from hypothesis import strategies as st
from support.any_capture import captures
from support.hostile import HOSTILE, poisoned
from support.listed_units import MACOS_ROOT, captured_on, larch
from support.looking import look
from support.more_buses import firmware_fan, serial_disk
from support.snapshot_facts import FAULTS
from support.sysfs import Conditions
from support.units import HERON, LARCH, MOUSE, PLOVER

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.drafting import LAYOUTS, Draft, Layout, census, draft, layout_for, notices, text_of
from usbwatch.drafting.naming import model_name, told
from usbwatch.model import Capture, ExpectedDevice, Kind, Node, Profile, Rung, UnitStrings, Verdict
from usbwatch.profile import notes, parse, shipped
from usbwatch.profile.reading import LARGEST_FILE

CAPTURES = sorted(shipped("captures").glob("*-*.json"))
USB = "pci0000:00/14.0/usb2"


def drafted(capture: Capture, layout: Layout | None = None) -> tuple[Draft, str, Profile]:
    made = draft(capture, layout or layout_for(capture.unit.chassis_type), today="2026-11-29")
    text = text_of(made)
    return made, text, parse(text, "draft.toml")


def by_place(profile: Profile) -> dict[str, ExpectedDevice]:
    return {place: one for one in profile.devices for place in one.locations}


TO_FILL_IN = ("not given", "are not both given")
"""Remarks of ``profile validate`` on what only a person knows: prices, times, values."""


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("snapshot", FAULTS)
def test_a_draft_of_a_real_tree_is_sound(real_tree: RealTree, snapshot: str, layout: str) -> None:
    _, _, profile = drafted(look(real_tree(snapshot)), LAYOUTS[layout])
    assert not profile.edited
    assert profile.digest
    assert [remark for _, remark in notes(profile) if not any(words in remark for words in TO_FILL_IN)] == []


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("path", CAPTURES, ids=lambda path: path.stem)
def test_a_draft_of_a_demo_capture_is_sound(path: Path, layout: str) -> None:
    _, _, profile = drafted(load(str(path)), LAYOUTS[layout])
    assert [remark for _, remark in notes(profile) if not any(words in remark for words in TO_FILL_IN)] == []


@pytest.mark.parametrize("laptop", [LARCH, HERON, PLOVER], ids=["larch", "heron", "plover"])
def test_a_healthy_unit_is_whole_by_its_own_draft(built_tree: BuiltTree, laptop: object) -> None:
    capture = look(built_tree(laptop))
    _, _, profile = drafted(capture)
    found = findings(capture, profile)
    others = {one.device: one.verdict for one in found.findings if one.verdict is not Verdict.PRESENT}
    assert others in ({}, {"keyboard": Verdict.UNSEEN})  # a PS/2 keyboard, which the kernel assumes
    assert (found.unexpected, found.unplaced, found.notices) == ((), (), ())


def test_it_says_of_each_device_what_a_good_one_shows(built_tree: BuiltTree) -> None:
    """The figures are those of ``tests/support/units.py``, of which the trees are built."""
    heron = by_place(drafted(look(built_tree(HERON)))[2])
    disk, camera = heron["pci0000:00/1d.0/00.0"], heron[f"{USB}/7"]
    assert (disk.lanes, disk.link_gts, disk.identities) == (4, 8.0, ())
    assert (camera.speed_mbps, camera.identities, camera.reaches) == (480, ("1209:0007",), Rung.WORKING)
    assert heron[f"{USB}/8"].reaches is Rung.CONFIGURED
    assert heron["acpi/_SB_.LID0"].reaches is Rung.ATTACHED


def test_needs_follow_what_carries_a_device_and_the_layout(built_tree: BuiltTree) -> None:
    unit = by_place(drafted(look(built_tree(LARCH)))[2])
    assert unit["pci0000:00/14.0"].needs == ("mainboard-usb",)
    assert unit[f"{USB}/4"].needs == ("usb-controller",)
    way = ("top-case-feed", "top-case-supply", "top-case-flex", "top-case-board")
    assert unit[f"{USB}/4.1"].needs == ("internal-hub", *way)
    assert unit["pci0000:00/02.0/drm/eDP-1"].needs == ("graphics", "display-supply", "display-cable")
    separate = by_place(drafted(look(built_tree(HERON)), LAYOUTS["separate-keyboard"])[2])
    touchpad = separate["acpi/_SB_.PCI0.I2C0.TPD0"]
    assert (touchpad.within, touchpad.needs) == ("touchpad-module", ("mainboard-i2c", "input-supply", "touchpad-flex"))


def test_a_port_that_firmware_places_in_the_lid_puts_its_device_into_the_display_half(built_tree: BuiltTree) -> None:
    """Documentation/ABI/testing/sysfs-devices-physical_location; the Larch's camera is in the lid (``units.py``)."""
    capture = look(built_tree(LARCH))
    nodes = tuple(
        replace(node, facts={**node.facts, "lid": "yes"}) if node.location == f"{USB}/6" else node
        for node in capture.nodes
    )
    assert by_place(drafted(replace(capture, nodes=nodes))[2])[f"{USB}/6"].within == "display-assembly"
    assert by_place(drafted(capture)[2])[f"{USB}/6"].within == "radio-card"


CHASSIS = {
    "10": "clamshell",
    "9": "clamshell",
    "31": "clamshell",
    "32": "detachable",
    "13": "all-in-one",
    "": "clamshell",
}
"""SMBIOS 7.4.1: 9 laptop, 10 notebook, 31 convertible, 32 detachable, 13 all in one."""


@pytest.mark.parametrize("chassis", CHASSIS)
def test_the_layout_goes_by_the_chassis_type(chassis: str) -> None:
    assert layout_for(chassis).id == CHASSIS[chassis]


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_a_layout_names_nothing_that_it_does_not_have(layout: Layout) -> None:
    parts = {part.id for part in layout.parts}
    functions = {function for seat in layout.seats for function in seat.functions}
    named = {layout.display_half.within, *layout.display_half.path, *layout.remarks}
    named |= {id_ for seat in layout.seats for id_ in (seat.within, *seat.path)}
    named |= {id_ for part in layout.parts for id_ in (part.within, *part.joins) if id_}
    assert named <= parts
    assert {need for check in layout.checks for need in check.needs} <= parts | functions | {
        "keyboard",
        "touchpad",
        "lid",
        "graphics",
        "usb-controller",
    }
    assert layout.assumes


def test_no_price_and_no_time_is_made_up(built_tree: BuiltTree) -> None:
    for laptop in (LARCH, HERON, PLOVER):
        _, text, profile = drafted(look(built_tree(laptop)))
        assert {(part.cost, part.minutes) for part in profile.parts} == {(None, None)}
        parts, _, checks = text.partition("# --- Hand checks")
        filled_in = r"^(?:cost|minutes|value_\w+|hourly_rate) =.*$"
        assert re.findall(filled_in, parts, re.MULTILINE) == []
        told = re.findall(filled_in, checks, re.MULTILINE)
        assert told
        assert all(re.fullmatch(r"minutes = \d+  # elicited, no source", one) for one in told)
        assert "# cost =" in text


PLACEHOLDERS = ["To be filled by O.E.M.", "Default string", "  ", "", "System Product Name", "0000000", "x.x", "None"]


@pytest.mark.parametrize("text", PLACEHOLDERS)
def test_a_placeholder_names_no_model(built_tree: BuiltTree, text: str) -> None:
    assert not told(text)
    capture = look(built_tree(LARCH))
    unnamed = replace(capture, unit=replace(capture.unit, product_name=text))
    made, written, profile = drafted(unnamed)
    assert profile.match.strings == {"board_vendor": ("Fernhill",), "board_name": ("LB13-MB",)}
    assert any("product_name" in remark and "names no model" in remark for remark in made.match_remarks)
    nameless = replace(capture, unit=UnitStrings(sys_vendor=text, product_name=text, board_name=text))
    made, written, profile = drafted(nameless)
    assert profile.match.strings == {}
    assert "used only when it is named" in " ".join(written.replace("\n# ", " ").split())


def test_the_maker_is_named_once() -> None:
    assert model_name(UnitStrings(sys_vendor="Fernhill", product_name="Fernhill Larch 13")) == "Fernhill Larch 13"
    assert model_name(UnitStrings(sys_vendor="Fernhill", product_name="Larch 13")) == "Fernhill Larch 13"
    assert model_name(UnitStrings()) == "Unnamed model"


def test_helpers_stand_as_comments_with_the_reason(real_tree: RealTree) -> None:
    _, text, profile = drafted(look(real_tree("external-devices")))
    assert not {f"{USB}/1", f"{USB}/2"} & by_place(profile).keys()
    helpers = text.split("Left out: helper devices")[1].split("# ---")[0]
    assert all(f"{USB}/{port}: a helper device" in " ".join(helpers.replace("\n#", " ").split()) for port in (1, 2))


def test_what_firmware_names_in_vain_stands_as_a_comment(real_tree: RealTree) -> None:
    _, text, profile = drafted(look(real_tree("battery-not-present")))
    assert "acpi/_SB_.BAT0" not in by_place(profile)
    assert re.search(r"^# +battery, acpi/_SB_.BAT0", text.split("Named by firmware, and not there")[1], re.MULTILINE)


def test_a_device_that_may_be_somebodys_own_says_so(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(unmapped_ports=True, sockets=(MOUSE,))))
    made, text, profile = drafted(capture)
    assert "Not sure that it is inside" in text
    assert any("socket" in told for told in notices(capture, made, profile, census(capture)))


def test_a_device_of_unknown_function_is_taken_up_by_choosing_one(built_tree: BuiltTree) -> None:
    parts = tuple(replace(one, product_name="LB-77") if one.id == "fingerprint-reader" else one for one in LARCH.usb)
    laptop = replace(LARCH, usb=parts, dmi=LARCH.dmi | {"product_name": "Larch 13 U"})
    made, text, profile = drafted(look(built_tree(laptop)))
    assert f"{USB}/4.3" not in by_place(profile)
    table = re.search(r"^# \[device\.unknown-device\]\n(?:# .*\n)+", text, re.MULTILINE)
    assert table is not None
    taken_up = re.sub(r"^# ", "", table[0], flags=re.MULTILINE).replace('function = ""', 'function = "sensor"')
    by_hand = by_place(parse(text.replace(table[0], taken_up), "by-hand.toml"))
    assert by_hand[f"{USB}/4.3"].needs == ("internal-hub",)
    assert len(made.entries) == len(profile.devices) + 1


NOT_GOOD = {
    "touchpad-enumeration-failure": "enumeration failed",
    "battery-not-present": "nothing was found of it",
    "battery-worn": "Battery is not as in a good unit",
    "keyboard-no-hid-report": "Is this a good unit?",
}


@pytest.mark.parametrize("snapshot", NOT_GOOD)
def test_a_draft_of_a_unit_that_is_not_good_is_told(real_tree: RealTree, snapshot: str) -> None:
    capture = look(real_tree(snapshot))
    made, _, profile = drafted(capture)
    assert NOT_GOOD[snapshot] in " ".join(notices(capture, made, profile, census(capture)))


def test_a_device_that_stopped_part_way_is_told(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(undriven=("touchpad",))))
    made, text, profile = drafted(capture)
    told_ = " ".join(notices(capture, made, profile, census(capture)))
    assert "got no further than" in told_
    assert f"{USB}/4.2" in told_
    assert "as far as it got here" in text


def test_a_draft_of_a_good_unit_is_told_nothing(built_tree: BuiltTree) -> None:
    capture = look(built_tree(PLOVER))
    made, _, profile = drafted(capture)
    told_ = [one for one in notices(capture, made, profile, census(capture)) if "did not see" not in one]
    assert told_ == []


def test_a_bus_that_was_not_seen_and_a_virtual_machine_are_told(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(unrecorded=("sys/class/power_supply",))))
    emulated = replace(capture, system=replace(capture.system, virtual="hypervisor flag"))
    made, _, profile = drafted(emulated)
    told_ = " ".join(notices(emulated, made, profile, census(emulated)))
    assert "did not see power_supply" in told_
    assert "emulated machine" in told_


def test_a_bare_list_of_devices_is_told_once_and_proves_no_rung() -> None:
    """Through libusb there are no ports, no drivers, and no other bus (docs/other-systems.md)."""
    capture = captured_on("darwin", larch(root=MACOS_ROOT))
    made, _, profile = drafted(capture)
    assert {one.reaches for one in profile.devices} == {Rung.WORKING}
    told_ = notices(capture, made, profile, census(capture))
    assert "own list of USB devices" in told_[0]
    assert not any("did not see" in one or "got no further" in one for one in told_)


def test_fans_and_disks_on_other_buses_have_their_seats(loose_tree: BuiltTree) -> None:
    root = loose_tree(LARCH)
    firmware_fan(root, rpm=2100)
    serial_disk(root, number=1, port=0, name="sdz")
    profile = drafted(look(root))[2]
    assert {one.within for one in profile.devices if one.function == "fan"} == {"fan-module"}
    assert by_place(profile)["pci0000:00/1f.0/ata0/block"].needs == ("mainboard-sata", "disk-slot")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_unit_gives_a_sound_draft_that_no_terminal_obeys(built_tree: BuiltTree, text: str) -> None:
    capture = look(built_tree(LARCH))
    ill = poisoned(capture, text, keep=frozenset({"location", "functions", "bus", "errno"}))
    for layout in LAYOUTS.values():
        _, written, _ = drafted(ill, layout)
        assert all(letter.isprintable() for letter in written.replace("\n", ""))


@pytest.mark.properties
@settings(deadline=None)
@given(capture=captures(), layout=st.sampled_from(list(LAYOUTS.values())))
def test_whatever_was_captured_the_draft_is_sound(capture: Capture, layout: Layout) -> None:
    made, _, profile = drafted(capture, layout)
    assert len(profile.devices) == sum(not entry.open for entry in made.entries)
    assert all(isinstance(told_, str) for told_ in notices(capture, made, profile, census(capture)))


_TEXTS = st.text(max_size=8)
_PLACED = st.builds(
    Node,
    bus=st.sampled_from(["usb", "pci", "i2c", "acpi", "drm", "serio", "mmc", "block", "soundwire", "hdaudio"]),
    location=st.from_regex(r"pci0000:00/[0-3]\.[0-2](/usb[23]/[1-3](\.[1-3]){0,2})?", fullmatch=True),
    kind=st.sampled_from([Kind.DEVICE, Kind.INFRASTRUCTURE, Kind.PORT]),
    rung=st.sampled_from(Rung),
    identity=st.one_of(_TEXTS, st.just("1209:0001")),
    name=_TEXTS,
    functions=st.lists(st.sampled_from(["keyboard", "hub", "usb-controller", "camera", "x", "audio"]), max_size=2).map(
        tuple
    ),
    driver=_TEXTS,
    facts=st.dictionaries(
        st.sampled_from(["current_link_width", "current_link_speed", "speed_kbps", "lid", "removable", "class"]),
        st.one_of(_TEXTS, st.integers(0, 10**10), st.sampled_from(["4", "8.0 GT/s PCIe", "fixed", "yes"])),
        max_size=3,
    ),
)


@pytest.mark.properties
@settings(deadline=None)
@given(
    capture=captures(),
    nodes=st.lists(_PLACED, max_size=12, unique_by=lambda node: (node.bus, node.location)),
    layout=st.sampled_from(list(LAYOUTS.values())),
)
def test_whatever_sits_on_a_tree_of_hubs_the_draft_is_sound(
    capture: Capture, nodes: list[Node], layout: Layout
) -> None:
    _, _, profile = drafted(replace(capture, nodes=tuple(nodes)), layout)
    assert [remark for _, remark in notes(profile) if "order" in remark or "no way" in remark] == []


def test_a_draft_of_thousands_of_devices_is_still_a_file_that_can_be_read() -> None:
    whole = load(str(CAPTURES[0]))
    device = next(node for node in whole.nodes if node.bus == "usb" and node.kind is Kind.DEVICE)
    crowd = tuple(replace(device, location=f"{USB}/{1 + n % 250}.{1 + n // 250}", name="x" * 60) for n in range(5000))
    _, text, _ = drafted(replace(whole, nodes=(*whole.nodes, *crowd)))
    assert len(text.encode("utf-8")) < LARGEST_FILE / 2
    assert re.search(r"and \d+ more", text)

"""What firmware says and what the kernel found of it, on a real kernel's trees and on invented units.

The truth about each snapshot stands in ``tests/data/trees/README.md``: the
emulated firmware declares battery, adapter, lid, power button, the emulator's
PS/2 keyboard and mouse, a touch pad in SMBIOS, and nine hardwired ports.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import BuiltTree, RealTree
from hypothesis import given, settings
from hypothesis import strategies as st
from support.examples import costly
from support.looking import look
from support.sysfs import Conditions
from support.tree.parts import Laptop, UsbPart
from support.tree.smbios import onboard, pointing, record, table
from support.units import DOCK, HERON, LARCH, PLOVER

from usbwatch.capture.log.troubles import I2C_HID_FAILED
from usbwatch.compare import findings
from usbwatch.compare.declared import declarations
from usbwatch.model import (
    Capture,
    Coverage,
    CoverageState,
    Declaration,
    DeclaredState,
    Episode,
    Fact,
    Kind,
    Node,
    Rung,
    Software,
    System,
    UnitStrings,
    Verdict,
)
from usbwatch.profile import find

FOUND, UNPROVEN, NOT_FOUND, NOT_SEEN, OFF = DeclaredState

HUB = "pci0000:00/14.0/usb2/4"
GENERIC = find("generic-clamshell")


def _open(capture: Capture) -> dict[str, DeclaredState]:
    """What was declared and neither found nor taken on firmware's word, by place."""
    return {one.where: one.state for one in declarations(capture) if one.state not in (FOUND, UNPROVEN)}


def _of(capture: Capture, where: str) -> Declaration:
    return next(one for one in declarations(capture) if one.where == where)


def _blind(capture: Capture, *buses: str) -> Capture:
    """The same look without sight of some buses."""
    coverage = tuple(
        Coverage(bus=one.bus, state=CoverageState.NOT_PERMITTED) if one.bus in buses else one
        for one in capture.coverage
    )
    return replace(capture, coverage=coverage, nodes=tuple(one for one in capture.nodes if one.bus not in buses))


# --- A real kernel's trees ------------------------------------------------------------

_OPEN = {
    "healthy": {},
    "external-devices": {},
    "battery-worn": {},
    "camera-full-speed": {},
    "keyboard-no-hid-report": {},
    "keyboard-missing": {f"{HUB}.1": NOT_FOUND},
    "keyboard-touchpad-missing": {f"{HUB}.1": NOT_FOUND, f"{HUB}.2": NOT_FOUND},
    "touchpad-enumeration-failure": {f"{HUB}.2": NOT_FOUND},
    "internal-hub-missing": {HUB: NOT_FOUND},
    "battery-not-present": {"acpi/_SB_.BAT0": NOT_FOUND},
}


@pytest.mark.parametrize("snapshot", _OPEN)
def test_what_firmware_declares_and_a_real_kernel_did_not_find(real_tree: RealTree, snapshot: str) -> None:
    assert _open(look(real_tree(snapshot))) == _OPEN[snapshot]


def test_all_that_a_real_firmware_declares_of_a_healthy_unit(real_tree: RealTree) -> None:
    told = {one.where: (one.what, one.state) for one in declarations(look(real_tree("healthy")))}
    ports = {f"{HUB}{below}" for below in ("", ".1", ".2", ".3", ".4")}
    ports |= {f"pci0000:00/14.0/usb2/{port}" for port in (5, 6, 8, 9)}
    assert {where for where in told if where.startswith("pci")} == ports
    assert all(told[port][1] is FOUND for port in ports)
    assert {where: told[where] for where in told if where not in ports} == {
        "acpi/_SB_.AC0_": ("mains adapter", FOUND),
        "acpi/_SB_.BAT0": ("battery", FOUND),
        "acpi/_SB_.LID0": ("lid switch", UNPROVEN),
        "acpi/_SB_.PWRB": ("power button", UNPROVEN),
        "acpi/_SB_.PCI0.SF8_.KBD_": ("PS/2 keyboard", UNPROVEN),
        "acpi/_SB_.PCI0.SF8_.MOU_": ("PS/2 pointing device", FOUND),
        "dmi/type21": ("touch pad", FOUND),
    }


def test_a_battery_named_twice_is_one_part_with_both_words(real_tree: RealTree) -> None:
    told = _of(look(real_tree("battery-not-present")), "acpi/_SB_.BAT0")
    assert told.said_by == (
        "ACPI PNP0C0A, status 15: present, enabled, shown, functioning, no battery in slot; "
        "SMBIOS portable battery LB-4C50"
    )
    assert told.because == "firmware says that its bay is empty"


def test_a_part_that_attached_and_failed_is_not_called_an_empty_port(real_tree: RealTree) -> None:
    told = _of(look(real_tree("touchpad-enumeration-failure")), f"{HUB}.2")
    assert "something attached there, and did not enumerate" in told.because


def test_an_interface_code_that_has_no_name_lets_every_bus_count(real_tree: RealTree) -> None:
    """The record says 0Bh; DSP0134 7.22.2 has no such interface."""
    capture = look(real_tree("healthy"))
    assert _of(capture, "dmi/type21").said_by.endswith("interface code 11, which has no name")
    assert "usb2/4.2" in _of(capture, "dmi/type21").found
    lost = _of(look(real_tree("keyboard-touchpad-missing")), "dmi/type21")
    assert (lost.state, "serio" in lost.found or "aux" in lost.found) == (UNPROVEN, True)


# --- Hardwired ports ---------------------------------------------------------------------


@pytest.mark.parametrize("unit", [LARCH, HERON, PLOVER], ids=["Larch", "Heron", "Plover"])
def test_a_healthy_unit_leaves_nothing_open(built_tree: BuiltTree, unit: Laptop) -> None:
    capture = look(built_tree(unit))
    assert _open(capture) == {}
    wired = [one for one in capture.nodes if one.facts.get("connect_type") == "hardwired"]
    assert sum(one.where.startswith("pci") for one in declarations(capture)) == len(wired)


def test_without_a_port_table_nothing_is_said_of_ports(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(unmapped_ports=True, missing=("keyboard",))))
    assert not [one for one in declarations(capture) if "usb2" in one.where]


def _with_ports_wired(part: UsbPart) -> UsbPart:
    return replace(part, ports=tuple(replace(port, connect_type="hardwired") for port in part.ports))


def test_ports_of_a_hub_in_a_socket_are_not_the_units(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(sockets=(_with_ports_wired(DOCK),))))
    assert any(one.location.startswith("pci0000:00/14.0/usb2/1.") for one in capture.nodes if one.bus == "usb-port")
    assert _open(capture) == {}


@pytest.mark.parametrize(
    ("trouble", "state", "words"),
    [
        ("enumeration failed", NOT_FOUND, "did not enumerate"),
        ("still enumerating", NOT_SEEN, "capture again"),
        ("disconnected", NOT_FOUND, "what was there has left"),
        ("some other trouble", NOT_FOUND, "nothing enumerated"),
    ],
)
def test_what_the_log_tells_of_an_empty_port(
    built_tree: BuiltTree, trouble: str, state: DeclaredState, words: str
) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",))))
    told = _of(replace(capture, episodes=(Episode(location=f"{HUB}.1", trouble=trouble, count=1),)), f"{HUB}.1")
    assert (told.state, words in told.because) == (state, True)


def test_after_its_controller_died_no_port_is_called_empty(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",))))
    died = Episode(location="pci0000:00/14.0", trouble="controller died", count=1)
    assert _open(replace(capture, episodes=(died,))) == {f"{HUB}.1": NOT_SEEN}


def test_over_current_is_told_beside_an_empty_port(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("camera",), over_current={"5": 3})))
    assert _of(capture, "pci0000:00/14.0/usb2/5").because.endswith(
        "nothing enumerated; its port has counted 3 over-current changes: "
        "a shorted or overloaded branch (ports can share one)"
    )


def test_the_display_half_is_named_where_firmware_says_so(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("camera",))))
    assert _of(capture, "pci0000:00/14.0/usb2/5").said_by == "USB port table: hardwired, in the display half"


# --- ACPI -----------------------------------------------------------------------------------

_PAD = "acpi/_SB_.PCI0.I2C0.TPD0"

_HERON = [
    pytest.param(Conditions(), FOUND, "", id="it answers"),
    pytest.param(Conditions(missing=("touchpad",)), NOT_FOUND, "nothing answered at its address", id="silent"),
    pytest.param(
        Conditions(missing=("touchpad",), unloaded=("i2c_hid_acpi",)),
        NOT_SEEN,
        "no driver for it is loaded",
        id="unasked",
    ),
    pytest.param(Conditions(statuses={"touchpad": 0}), OFF, "firmware says that it is not present", id="status 0"),
]


@pytest.mark.parametrize(("conditions", "state", "because"), _HERON)
def test_a_touchpad_on_i2c(built_tree: BuiltTree, conditions: Conditions, state: DeclaredState, because: str) -> None:
    told = _of(look(built_tree(HERON, conditions)), _PAD)
    assert (told.what, told.state) == ("HID device on I2C", state)
    assert because in told.because
    assert told.said_by.startswith("ACPI BRWL0001 (PNP0C50), status ")


@pytest.mark.parametrize("bus", ["i2c", "serio", "power_supply", "usb"])
def test_on_a_bus_that_could_not_be_seen_nothing_is_called_not_found(built_tree: BuiltTree, bus: str) -> None:
    lost = Conditions(missing=("touchpad", "touchscreen", "keyboard", "camera"), battery="absent")
    before, blind = look(built_tree(HERON, lost)), _blind(look(built_tree(HERON, lost)), bus)
    assert NOT_FOUND in _open(before).values()
    hidden = {"i2c": ("I2C",), "serio": ("PS2",), "power_supply": ("ADP",), "usb": ("pci", "dmi/type21")}[bus]
    assert not [
        where for where, state in _open(blind).items() if state is NOT_FOUND and any(h in where for h in hidden)
    ]


def test_a_battery_whose_gauge_is_mute_is_not_proven(built_tree: BuiltTree) -> None:
    told = _of(look(built_tree(LARCH, Conditions(battery="silent"))), "acpi/_SB_.BAT0")
    assert (told.state, told.because) == (UNPROVEN, "its gauge does not talk")


def test_while_the_embedded_controller_is_mute_a_bay_is_not_called_empty(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(battery="absent")))
    mute = Episode(location="", trouble="embedded controller timed out", count=2)
    assert _of(capture, "acpi/_SB_.BAT0").state is NOT_FOUND
    assert _of(replace(capture, episodes=(mute,)), "acpi/_SB_.BAT0").state is NOT_SEEN


def test_a_ps2_keyboard_is_never_found_by_its_node(built_tree: BuiltTree) -> None:
    """On laptops the kernel assumes one without asking (drivers/input/keyboard/atkbd.c)."""
    told = _of(look(built_tree(HERON)), "acpi/_SB_.PCI0.LPCB.PS2K")
    assert (told.state, told.because) == (UNPROVEN, "on a laptop the kernel assumes it without asking")


def test_the_kernels_own_power_button_counts_only_without_another(real_tree: RealTree) -> None:
    """LNXPWRBN is the button of the fixed tables (drivers/acpi/button.c, scan.c); PNP0C0C declares the same one."""
    capture = look(real_tree("healthy"))
    assert [one.where for one in declarations(capture) if one.what == "power button"] == ["acpi/_SB_.PWRB"]
    without = replace(capture, nodes=tuple(one for one in capture.nodes if one.identity != "PNP0C0C"))
    assert [one.where for one in declarations(without) if one.what == "power button"] == ["acpi/LNXPWRBN"]


def _declared(identity: str, driver: str = "", **facts: Fact) -> Node:
    return Node(
        bus="acpi",
        location="acpi/_SB_.PART",
        kind=Kind.DECLARED,
        rung=Rung.ATTACHED,
        identity=identity,
        driver=driver,
        facts={"status": 15, **facts},
    )


_CLIENT = Node(bus="i2c", location="acpi/_SB_.PART", kind=Kind.DEVICE, rung=Rung.ATTACHED, identity="PNP0C50")
_TYPEC = Coverage(bus="typec", state=CoverageState.EMPTY)
_I2C = Coverage(bus="i2c", state=CoverageState.OK, drivers=("i2c_hid_acpi",))
_I2C_FAILED = Episode(location="acpi/_SB_.PART", trouble=I2C_HID_FAILED, count=1)
_WAITING = replace(_CLIENT, facts={"waiting_for_supplier": "1"})

_TURNS = Node(
    bus="hwmon", location="acpi/_SB_.PART/hwmon", kind=Kind.FUNCTION, rung=Rung.WORKING, facts={"fan1_input": 2400}
)
_CODEC = Node(
    bus="soundwire",
    location="pci0000:00/1f.3/soundwire/0/1209:0008",
    kind=Kind.DEVICE,
    rung=Rung.ABSENT,
    facts={"status": "UNATTACHED"},
)
_OTHER_CODEC = replace(_CODEC, location="pci0000:00/1f.3/soundwire/0/1209:0009", rung=Rung.WORKING)
_FAR_CODEC = replace(_CODEC, location="pci0000:00/1f.3/soundwire/1/1209:0009", rung=Rung.WORKING)

_OBJECTS = {
    "a fan that turns": ((_declared("PNP0C0B", "fan"), _TURNS), (), (), FOUND),
    "a fan at rest": ((_declared("PNP0C0B", "fan"), replace(_TURNS, facts={"fan1_input": 0})), (), (), UNPROVEN),
    "a codec alone and unattached": ((_CODEC,), (), (), NOT_SEEN),
    "a codec unattached beside another": ((_CODEC, _OTHER_CODEC), (), (), NOT_FOUND),
    "a codec unattached on a link of its own": ((_CODEC, _FAR_CODEC), (), (), NOT_SEEN),
    "a codec of which the kernel tells no status": ((replace(_CODEC, rung=Rung.ATTACHED),), (), (), UNPROVEN),
    "a fan without a driver": ((_declared("PNP0C0B"),), (), (), NOT_SEEN),
    "a fan with one": ((_declared("PNP0C0B", "fan"),), (), (), UNPROVEN),
    "a light sensor": ((_declared("ACPI0008", "acpi-als"),), (), (), UNPROVEN),
    "a Type-C controller that shows ports": (
        (_declared("PNP0CA0", "ucsi_acpi"),),
        (replace(_TYPEC, state=CoverageState.OK, nodes=2),),
        (),
        FOUND,
    ),
    "a Type-C controller that shows none": ((_declared("PNP0CA0", "ucsi_acpi"),), (_TYPEC,), (), NOT_FOUND),
    "a Type-C controller without a driver": ((_declared("PNP0CA0"),), (_TYPEC,), (), NOT_SEEN),
    "Type-C, on a kernel without the class": ((_declared("PNP0CA0", "ucsi_acpi"),), (), (), UNPROVEN),
    "a HID device without a client": ((_declared("PNP0C50"),), (_I2C,), (), NOT_SEEN),
    "a HID device that waits": ((_declared("PNP0C50"), _WAITING), (_I2C,), (), NOT_SEEN),
    "a HID device that failed its driver": ((_declared("PNP0C50"), _CLIENT), (_I2C,), (_I2C_FAILED,), NOT_FOUND),
    "a lid whose files were refused": ((_declared("PNP0C0D", status=0, unread_files=1),), (), (), NOT_SEEN),
    "a lid that firmware calls absent": ((_declared("PNP0C0D", status=0),), (), (), OFF),
    "a legal object without a driver": ((_declared("PNP0C0D", status=8),), (), (), OFF),
}


def _capture(
    nodes: tuple[Node, ...], coverage: tuple[Coverage, ...] = (), episodes: tuple[Episode, ...] = ()
) -> Capture:
    return Capture(
        taken_at="",
        tool="",
        system=System(platform="linux"),
        unit=UnitStrings(),
        coverage=coverage,
        nodes=nodes,
        episodes=episodes,
    )


@pytest.mark.parametrize("case", _OBJECTS)
def test_each_kind_of_object_by_what_its_driver_can_know(case: str) -> None:
    nodes, coverage, episodes, state = _OBJECTS[case]
    assert declarations(_capture(nodes, coverage, episodes))[0].state is state


_FACTS = st.dictionaries(
    st.sampled_from(("status", "kind", "interface", "device_type", "bus_address", "enabled", "connect_type", "peer")),
    st.one_of(st.text(max_size=9), st.integers(-1, 300), st.sampled_from(("hardwired", "0000:00:19.0", ":", "usb3/"))),
)
_ANY_NODE = st.builds(
    Node,
    bus=st.sampled_from(("acpi", "smbios", "usb-port", "serio", "i2c", "usb", "power_supply")),
    location=st.sampled_from(
        ("acpi/_SB_.BAT0", "pci0000:00/14.0/usb2/4.1", "dmi/type21", "platform/i8042/kbd", "x", "")
    ),
    kind=st.sampled_from(Kind),
    rung=st.sampled_from(Rung),
    identity=st.sampled_from(("PNP0C0A", "PNP0C50", "PNP0303", "PNP0F13", "type 21", "type 22", "type 41", "")),
    functions=st.sampled_from(((), ("battery",), ("touchpad", "pointing-device"), ("hub",))),
    facts=_FACTS,
)


@pytest.mark.properties
@settings(deadline=None, max_examples=costly(10))
@given(st.lists(_ANY_NODE, max_size=6, unique_by=lambda node: (node.bus, node.location)))
def test_whatever_firmware_says_nothing_unseen_is_called_not_found(nodes: list[Node]) -> None:
    """With no bus seen, "not found" can only be firmware's own word on a battery's bay or a port with a state."""
    for one in declarations(_capture(tuple(nodes))):
        own_word = one.because == "firmware says that its bay is empty" or "did not enumerate" in one.because
        assert one.state is not NOT_FOUND or own_word


# --- SMBIOS ---------------------------------------------------------------------------------


def _with_table(root: Path, *records: bytes) -> Capture:
    path = root / "sys/firmware/dmi/tables/DMI"
    path.chmod(0o600)
    path.write_bytes(table(*records))
    return look(root)


@pytest.mark.parametrize(
    ("interface", "missing", "state"),
    [
        (0xA2, (), FOUND),
        (0xA2, ("touchpad",), NOT_FOUND),
        (0xA3, (), UNPROVEN),
        (0x02, (), FOUND),
        (0x0B, ("touchpad",), NOT_FOUND),
    ],
    ids=["USB, there", "USB, gone", "says I2C, is on USB", "unknown", "no name, gone"],
)
def test_a_touch_pad_is_looked_for_on_the_bus_that_its_record_names(
    loose_tree: BuiltTree, interface: int, missing: tuple[str, ...], state: DeclaredState
) -> None:
    capture = _with_table(loose_tree(LARCH, Conditions(missing=missing)), pointing(7, interface))
    told = _of(capture, "dmi/type21")
    assert (told.what, told.function, told.state) == ("touch pad", "touchpad", state)


def test_an_unasked_client_may_be_the_pad(built_tree: BuiltTree) -> None:
    capture = look(built_tree(HERON, Conditions(missing=("touchpad",), unloaded=("i2c_hid_acpi",))))
    assert _of(capture, "dmi/type21").state is NOT_SEEN


_BATTERY = record(22, 0x16, bytes([0, 0, 0, 0, 1, 6, 100, 0, 0, 0, 0, 0xFF]), "LB-4C50")


def test_a_battery_record_alone_is_no_presence(loose_tree: BuiltTree) -> None:
    capture = _with_table(loose_tree(LARCH, Conditions(missing=("battery",))), _BATTERY)
    told = _of(capture, "dmi/type22")
    assert (told.state, told.because) == (NOT_FOUND, "the record tells of a design, never of a pack in the bay")
    assert _of(_blind(capture, "acpi"), "dmi/type22").state is NOT_SEEN


_LAN = 0x19 << 3

_ONBOARD = [
    ("at its address", onboard(5, "LAN", slot=_LAN, handle=1), (), FOUND),
    ("gone from its address", onboard(5, "LAN", slot=_LAN, handle=1), ("ethernet",), NOT_FOUND),
    ("switched off and gone", onboard(5, "LAN", enabled=False, slot=_LAN, handle=1), ("ethernet",), OFF),
    ("called off, yet there", onboard(5, "LAN", enabled=False, slot=_LAN, handle=1), (), FOUND),
    ("no address, by its function", onboard(0x0C, "LAN", bus=0xFF, handle=1), (), FOUND),
    ("no address, gone", onboard(0x0C, "LAN", bus=0xFF, handle=1), ("bluetooth",), NOT_FOUND),
    ("no type, at an address", onboard(1, "LAN", slot=_LAN, handle=1), (), FOUND),
    ("no type, nothing there", onboard(1, "LAN", slot=0x1A << 3, handle=1), (), NOT_FOUND),
    ("no type, behind a bridge", onboard(1, "LAN", bus=3, slot=0, handle=1), (), NOT_SEEN),
]


@pytest.mark.parametrize(("raw", "missing", "state"), [row[1:] for row in _ONBOARD], ids=[row[0] for row in _ONBOARD])
def test_an_onboard_device(loose_tree: BuiltTree, raw: bytes, missing: tuple[str, ...], state: DeclaredState) -> None:
    capture = _with_table(loose_tree(LARCH, Conditions(missing=missing)), raw)
    assert _of(capture, "dmi/type41-lan").state is state


def test_an_onboard_device_of_no_type_and_no_address_says_nothing(loose_tree: BuiltTree) -> None:
    capture = _with_table(loose_tree(LARCH), onboard(1, "LAN", bus=0xFF, handle=1))
    assert not [one for one in declarations(capture) if one.where.startswith("dmi/type41")]


# --- In the findings ---------------------------------------------------------------------------


@pytest.mark.parametrize("snapshot", ["healthy", "internal-hub-missing"])
def test_the_findings_carry_all_of_it_whatever_the_profile(real_tree: RealTree, snapshot: str) -> None:
    capture = look(real_tree(snapshot))
    expected = declarations(capture)
    assert Counter(one.state for one in expected)[NOT_FOUND] == len(_OPEN[snapshot])
    for profile in (GENERIC, find("fernhill-larch-13")):
        assert findings(capture, profile).declared == expected


def test_without_a_profile_of_its_own_a_lost_part_is_told_beside_the_empty_port(built_tree: BuiltTree) -> None:
    finding = findings(look(built_tree(LARCH, Conditions(missing=("keyboard",)))), GENERIC).of("keyboard")
    assert finding.verdict is Verdict.MISSING
    assert finding.reasons[-1] == (
        f"firmware says that something is wired to {HUB}.1, where nothing is: it may be this"
    )


def test_a_lost_battery_is_not_told_beside_an_empty_usb_port(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",), battery="absent")))
    assert not [reason for reason in findings(capture, GENERIC).of("battery").reasons if "wired" in reason]


def test_with_a_profile_of_its_own_no_reason_is_added(built_tree: BuiltTree) -> None:
    capture = look(built_tree(LARCH, Conditions(missing=("keyboard",))))
    reasons = findings(capture, find("fernhill-larch-13")).of("keyboard").reasons
    assert not [reason for reason in reasons if "it may be this" in reason]


# --- What one record says of several parts, and what may be another part ------------------------


def _pack(number: int) -> Node:
    return replace(_declared("PNP0C0A", "battery"), location=f"acpi/_SB_.BAT{number}", functions=("battery",))


def _word(number: int) -> Node:
    return Node(
        bus="smbios", location=f"dmi/type22-{number}", kind=Kind.DECLARED, rung=Rung.ATTACHED, identity="type 22"
    )


@pytest.mark.parametrize(("acpi", "smbios", "parts"), [(1, 1, 1), (2, 1, 3), (1, 2, 3)])
def test_batteries_are_one_part_only_where_each_source_names_one(acpi: int, smbios: int, parts: int) -> None:
    nodes = (*map(_pack, range(acpi)), *map(_word, range(smbios)))
    assert len(declarations(_capture(nodes))) == parts


@pytest.mark.parametrize(("peer", "listed"), [("usb2/1", 1), ("usb3/2", 2)])
def test_only_the_usb_2_half_stands_for_both_halves_of_a_connector(peer: str, listed: int) -> None:
    fast, other = f"{_XHCI}/usb3/1", f"{_XHCI}/{peer}"
    ports = tuple(
        Node(
            bus="usb-port",
            location=place,
            kind=Kind.PORT,
            rung=Rung.ABSENT,
            facts={"connect_type": "hardwired", "peer": facing},
        )
        for place, facing in ((fast, other), (other, fast))
    )
    assert len(declarations(_capture(ports))) == listed


_XHCI = "pci0000:00/14.0"


def test_a_battery_that_talks_is_in_its_bay_whatever_its_status_says() -> None:
    talking = Node(
        bus="power_supply",
        location="acpi/_SB_.BAT0/power_supply",
        kind=Kind.FUNCTION,
        rung=Rung.WORKING,
        name="BAT0",
        functions=("battery",),
    )
    empty, told = (declarations(_capture(nodes))[0] for nodes in ((_pack(0),), (_pack(0), talking)))
    assert (empty.state, empty.because) == (NOT_FOUND, "firmware says that its bay is empty")
    assert (told.state, told.found) == (FOUND, "BAT0")


@pytest.mark.parametrize(("switch", "state"), [("i8042.noaux", NOT_SEEN), ("i8042.nokbd", NOT_FOUND)])
def test_a_port_that_the_kernel_was_told_to_leave_out_was_not_seen(switch: str, state: DeclaredState) -> None:
    """Documentation/admin-guide/kernel-parameters.txt, i8042.noaux."""
    coverage = Coverage(bus="serio", state=CoverageState.OK, drivers=("psmouse", "atkbd"))
    capture = _capture((_declared("PNP0F13"),), (coverage,))
    assert declarations(replace(capture, software=Software(switches=(switch,))))[0].state is state


def _record(name: str, **facts: Fact) -> Node:
    return Node(
        bus="smbios",
        location=f"dmi/type41-{name}",
        kind=Kind.DECLARED,
        rung=Rung.ATTACHED,
        identity="type 41",
        facts={"device_type": 5, **facts},
    )


def _lan(place: str, **facts: Fact) -> Node:
    return Node(
        bus="usb" if "/usb" in place else "pci",
        location=place,
        kind=Kind.DEVICE,
        rung=Rung.WORKING,
        functions=("ethernet",),
        facts=facts,
    )


_SOUND = tuple(Coverage(bus=bus, state=CoverageState.OK) for bus in ("pci", "usb"))
_AT_19, _AT_1A = "0000:00:19.0", "0000:00:1a.0"

_RECORDS: dict[str, tuple[tuple[Node, ...], tuple[DeclaredState, ...]]] = {
    "at its address": ((_lan("pci0000:00/19.0"), _record("a", bus_address=_AT_19)), (FOUND,)),
    "at another address": ((_lan("pci0000:00/19.0"), _record("a", bus_address=_AT_1A)), (UNPROVEN,)),
    "no address": ((_lan("pci0000:00/19.0"), _record("a")), (FOUND,)),
    "two records, one part, its address in the second": (
        (_lan("pci0000:00/19.0"), _record("a"), _record("b", bus_address=_AT_19)),
        (NOT_SEEN, FOUND),
    ),
    "two records without addresses, one part": (
        (_lan("pci0000:00/19.0"), _record("a"), _record("b")),
        (FOUND, NOT_SEEN),
    ),
    "two records, two parts": (
        (_lan("pci0000:00/19.0"), _lan("pci0000:00/1a.0"), _record("a"), _record("b")),
        (FOUND, FOUND),
    ),
    "a part of which nothing says that it is inside": ((_lan(f"{_XHCI}/usb2/1"), _record("a")), (UNPROVEN,)),
}


@pytest.mark.parametrize(("nodes", "states"), _RECORDS.values(), ids=_RECORDS)
def test_each_onboard_record_has_a_part_of_its_own(nodes: tuple[Node, ...], states: tuple[DeclaredState, ...]) -> None:
    told = [one for one in declarations(_capture(nodes, _SOUND)) if one.where.startswith("dmi/")]
    assert tuple(one.state for one in told) == states


def test_a_touch_pad_that_may_be_outside_does_not_prove_the_units_own() -> None:
    pad = replace(_lan(f"{_XHCI}/usb2/1"), functions=("touchpad", "pointing-device"))
    says = replace(_record("a", kind=7, interface=0xA2), identity="type 21")
    fixed = replace(pad, facts={"removable": "fixed"})
    states = [declarations(_capture((node, says), _SOUND))[0].state for node in (pad, fixed)]
    assert states == [UNPROVEN, FOUND]

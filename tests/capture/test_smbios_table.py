"""The SMBIOS table as nodes: a real kernel's, invented ones, refused ones, damaged ones.

The expected values of the real table are those that the emulator was told
(``-smbios`` arguments and records; the same that ``tests/virtual/firmware.py``
gives it, but for the serial numbers).
"""

from __future__ import annotations

import errno
import stat
import struct
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.fake_tree import FakeTree
from support.hostile import HOSTILE
from support.looking import at, coverage_of, look
from support.tree.smbios import ENTRY_POINT, onboard, pointing, record, table
from support.units import HERON, LARCH, PLOVER

from usbwatch.capture import CopiedTree, take, to_json
from usbwatch.capture.tree import ATTRIBUTE_LIMIT
from usbwatch.model import Capture, CoverageState, Kind, Node, Rung, is_location

_Tree = Callable[..., Path]

DMI = "sys/firmware/dmi/tables/DMI"


def _nodes(capture: Capture) -> list[Node]:
    return [node for node in capture.nodes if node.bus == "smbios"]


def _taken(content: bytes, entry_point: bytes = ENTRY_POINT, errors: dict[str, int] | None = None) -> Capture:
    files = {DMI: content, f"{DMI.rpartition('/')[0]}/smbios_entry_point": entry_point}
    return take(FakeTree(files, {}, errors), taken_at="")


# --- A real kernel's table ---------------------------------------------------------


def test_a_real_table_gives_the_records_of_use(real_tree: _Tree) -> None:
    capture = look(real_tree("healthy"))
    assert [(node.location, node.name) for node in _nodes(capture)] == [
        ("dmi/table", ""),
        ("dmi/type17-dimm-0", "DIMM 0"),
        ("dmi/type2", "LB13-MB"),
        ("dmi/type21", "touch pad"),
        ("dmi/type22", "LB-4C50"),
        ("dmi/type3", "notebook"),
    ]
    assert coverage_of(capture, "smbios").state is CoverageState.OK


_REAL = {
    # The emulator's own entry point is of version 2.8; the table file has 550 bytes.
    "dmi/table": {"version": "2.8", "bytes": 550, "structures": 12},
    # The record's interface byte is 0Bh, which section 7.22.2 gives no name.
    "dmi/type21": {"kind": 7, "kind_name": "touch pad", "interface": 0x0B, "button_count": 2},
    # 5004 with a multiplier of 10; 5A61h packs 1 March 2025.
    "dmi/type22": {"design_capacity_mwh": 50040, "design_voltage_mv": 11400, "sbds_manufacture_date": "2025-03-01"},
    "dmi/type3": {"chassis_type": 10, "chassis_name": "notebook", "locked": 0, "sku_number": "L13"},
}


@pytest.mark.parametrize("place", _REAL)
def test_a_real_records_facts_are_what_firmware_was_given(real_tree: _Tree, place: str) -> None:
    node = at(look(real_tree("healthy")), place, "smbios")
    assert {name: node.facts.get(name) for name in _REAL[place]} == _REAL[place]
    assert (node.kind, node.rung, node.functions) == (Kind.DECLARED, Rung.ATTACHED, ())


def test_a_records_bytes_are_those_of_the_kernels_own_entry(real_tree: _Tree) -> None:
    """``entries/21-0/raw`` is the same structure by another way (drivers/firmware/dmi-sysfs.c).

    Without strings that file ends after the formatted part; a table's structure has two zero bytes more.
    """
    root = real_tree("healthy")
    entry = (root / "sys/firmware/dmi/entries/21-0/raw").read_bytes()
    raw = at(look(root), "dmi/type21", "smbios").raw["structure"]
    assert bytes.fromhex(raw).startswith(entry[:7])


def test_serials_are_facts_and_the_owners_uuid_is_not_taken(real_tree: _Tree) -> None:
    """The emulator was told the UUID 7f0c2d1e-…; type 1, which holds it, is not kept."""
    capture = look(real_tree("healthy"))
    assert at(capture, "dmi/type22", "smbios").facts["serial_number"] == "FB000777"
    text = "".join(str(node) for node in _nodes(capture)).lower()
    assert "7f0c2d1e" not in text
    assert "1e2d0c7f" not in text


# --- Invented tables -----------------------------------------------------------------


@pytest.mark.parametrize(("unit", "interface"), [(LARCH, "USB"), (HERON, "I2C"), (PLOVER, "USB")], ids=str)
def test_the_pointing_devices_record_names_its_bus(built_tree: _Tree, unit: object, interface: str) -> None:
    assert at(look(built_tree(unit)), "dmi/type21", "smbios").facts["interface_name"] == interface


def _port(handle: int, name: str) -> bytes:
    """A type 8 record: internal designator, connector, external designator, connector, port type."""
    return record(8, handle, bytes([0 if name == "" else 1, 0, 0, 0x23, 0x10]), name)


def test_locations_do_not_hang_on_order_or_trust_a_string() -> None:
    ports = [_port(0x800 + n, name) for n, name in enumerate(("USB-C (left)", "USB/../../etc", "\x1b[2Jbad", "", "Ü"))]
    forward, backward = _nodes(_taken(table(*ports))), _nodes(_taken(table(*reversed(ports))))
    assert forward == backward
    assert [node.location for node in forward] == [
        "dmi/table",
        "dmi/type8",
        "dmi/type8#2",
        "dmi/type8-usb-c-left",
        "dmi/type8-usb-etc",
        "dmi/type8-x1b-2jbad",
    ]
    assert all(is_location(node.location) for node in forward)


def test_two_records_of_one_name_are_both_kept() -> None:
    captured = _taken(table(onboard(5, "LAN", handle=1), onboard(5, "LAN", slot=0xC8, handle=2)))
    assert [node.location for node in _nodes(captured)][1:] == ["dmi/type41-lan", "dmi/type41-lan#2"]


def test_each_device_of_an_older_onboard_record_is_a_node() -> None:
    captured = _taken(table(record(10, 0x29, bytes([0x85, 1, 0x07, 2]), "LAN", "Sound")))
    assert [(node.location, node.rung) for node in _nodes(captured)][1:] == [
        ("dmi/type10-lan", Rung.ATTACHED),
        ("dmi/type10-sound", Rung.ABSENT),
    ]


@pytest.mark.parametrize(
    "empty",
    [
        onboard(5, "LAN", enabled=False, handle=1),
        record(9, 1, bytes([1, 0xA6, 0, 3]), "M.2"),
        record(17, 1, bytes(8) + struct.pack("<HB", 0, 9) + bytes(6)),
    ],
    ids=["device switched off", "slot available", "no memory fitted"],
)
def test_what_firmware_itself_calls_empty_is_absent(empty: bytes) -> None:
    assert _nodes(_taken(table(empty)))[1].rung is Rung.ABSENT


@pytest.mark.parametrize(
    ("entry_point", "version"),
    [
        (b"_SM3_\0\x18\x03\x07", "3.7"),
        (b"_SM_\0\x1f\x02\x08", "2.8"),
        (b"_SM3_", None),
        (b"", None),
        (b"junk" * 9, None),
    ],
    ids=["64-bit", "32-bit", "cut", "none", "junk"],
)
def test_the_version_stands_in_the_entry_point(entry_point: bytes, version: str | None) -> None:
    assert _nodes(_taken(table(), entry_point))[0].facts.get("version") == version


# --- Not permitted, not there, older kernels ------------------------------------------


def test_a_refused_table_is_for_root_alone() -> None:
    captured = _taken(table(), errors={DMI: errno.EACCES})
    told = coverage_of(captured, "smbios")
    assert (told.state, told.root_would_help) == (CoverageState.NOT_PERMITTED, True)
    assert "for root alone" in told.why
    assert _nodes(captured) == []


@pytest.mark.parametrize("left", ["nothing", "no bytes"])
def test_a_copy_made_without_roots_rights_says_so(loose_tree: _Tree, left: str) -> None:
    """A copier that the kernel refuses leaves the table out, or an empty file in its place."""
    root = loose_tree(LARCH)
    (root / DMI).unlink()
    if left == "no bytes":
        (root / DMI).touch()
    told = coverage_of(look(root), "smbios")
    assert (told.state, told.root_would_help) == (CoverageState.NOT_PERMITTED, True)


class _AsAnyUser(CopiedTree):
    """A copied tree to one who is not its owner: files that only the owner may read are refused."""

    def read(self, path: str, limit: int = ATTRIBUTE_LIMIT) -> bytes:
        content = super().read(path, limit)
        if not stat.S_IMODE((Path(self._root) / path).stat().st_mode) & stat.S_IROTH:
            raise PermissionError(errno.EACCES, "as the kernel says", path)
        return content


def test_without_root_the_capture_tells_what_it_could_not_see(built_tree: _Tree) -> None:
    """Only the tables and the serial numbers are for root; every other bus says the same to anybody."""
    root = str(built_tree(LARCH))
    anybody, owner = take(_AsAnyUser(root), taken_at=""), take(CopiedTree(root), taken_at="")
    poorer = {one.bus for one in anybody.coverage if one not in owner.coverage}
    assert poorer == {"dmi", "smbios"}
    assert all(coverage_of(anybody, bus).root_would_help for bus in poorer)
    assert anybody.nodes == tuple(node for node in owner.nodes if node.bus != "smbios")


def test_a_kernel_without_smbios_has_no_table() -> None:
    told = coverage_of(take(FakeTree({"sys/bus/x": b""}, {}), taken_at=""), "smbios")
    assert (told.state, told.root_would_help) == (CoverageState.NOT_THERE, False)


def test_a_failing_read_is_told_with_its_error() -> None:
    told = coverage_of(_taken(table(), errors={DMI: errno.EIO}), "smbios")
    assert (told.state, "EIO" in told.why) == (CoverageState.FAILED, True)


def test_an_older_kernel_has_the_records_one_by_one() -> None:
    """Documentation/ABI/testing/sysfs-firmware-dmi-entries. Of type 15 nothing is asked: its log comes by ports."""
    entries = "sys/firmware/dmi/entries"
    files = {f"{entries}/21-0/raw": pointing(7, 0xA3), f"{entries}/127-0/raw": record(127, 2, b"")}
    forbidden = {f"{entries}/15-0/raw": errno.EIO, f"{entries}/15-0/system_event_log/raw_event_log": errno.EIO}
    captured = take(FakeTree(files | dict.fromkeys(forbidden, b""), {}, forbidden), taken_at="")
    assert [(node.location, node.facts["interface_name"]) for node in _nodes(captured)] == [("dmi/type21", "I2C")]
    assert coverage_of(captured, "smbios").state is CoverageState.OK


def test_older_records_refused_are_for_root_too() -> None:
    path = "sys/firmware/dmi/entries/21-0/raw"
    captured = take(FakeTree({path: b""}, {}, {path: errno.EACCES}), taken_at="")
    assert coverage_of(captured, "smbios").state is CoverageState.NOT_PERMITTED


# --- Damaged and hostile ---------------------------------------------------------------


def test_a_table_that_breaks_off_names_the_place() -> None:
    whole = table(pointing(7, 0xA2), onboard(5, "LAN", handle=1))
    facts = _nodes(_taken(whole[:12]))[0].facts
    assert facts["defects"] == 2
    assert str(facts["first_defect"]).startswith("offset 9: ")


def test_a_records_own_defect_stands_beside_its_facts() -> None:
    captured = _taken(table(record(41, 1, bytes([9, 0x85, 1, 0, 0, 0, 0]))))
    facts = _nodes(captured)[1].facts
    assert facts["first_defect"] == "offset 4: string 9 is asked for, there are 0"


def test_of_a_table_without_end_only_so_many_records_are_kept() -> None:
    captured = _taken(table(*(onboard(5, f"LAN {number}", handle=number) for number in range(300))))
    nodes = _nodes(captured)
    assert len(nodes) == 257
    assert nodes[0].facts["records_left_out"] == 44


@pytest.mark.parametrize("text", [one for one in HOSTILE.values() if "\n" not in one], ids=lambda one: repr(one[:20]))
def test_no_string_of_firmware_breaks_a_capture(text: str) -> None:
    raw = text.encode("utf-8", "surrogateescape" if "\udc80" not in text else "surrogatepass").replace(b"\0", b"")
    captured = _taken(table(onboard(5, raw or b"x", handle=1)))
    assert all(is_location(node.location) and node.name.isprintable() for node in _nodes(captured))
    assert to_json(captured)


@pytest.mark.properties
@given(st.data())
def test_a_spoilt_table_never_ends_a_capture(data: st.DataObject) -> None:
    """Truncated, and up to eight bytes of it changed: there are always values or a named defect, never an exception."""
    whole = bytearray(
        table(pointing(7, 0xA2), onboard(5, "LAN", handle=1), record(10, 2, b"\x85\x01\x07\x02", "a", "b"))
    )
    for _ in range(data.draw(st.integers(0, 8))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    captured = _taken(bytes(whole[: data.draw(st.integers(1, len(whole)))]))
    assert all(is_location(node.location) for node in _nodes(captured))
    assert coverage_of(captured, "smbios").nodes == len(_nodes(captured))

from __future__ import annotations

from pathlib import Path

import pytest
from support.hex_files import bytes_of, kernel_parse

from usbwatch.capture.decode import smbios
from usbwatch.capture.decode.smbios import Smbios

LARCH = Path(__file__).parent / "data" / "smbios" / "larch.smbios.hex"
END = bytes.fromhex("7f 04 00 7f 00 00")


def structure(formatted: str, *strings: str) -> bytes:
    """A structure by DMTF DSP0134 section 6.1: its formatted part, its strings, and two zero bytes in all."""
    body = b"".join(one.encode() + b"\0" for one in strings)
    return bytes.fromhex(formatted) + (body + b"\0" if strings else b"\0\0")


def larch() -> Smbios:
    return smbios.decode(bytes_of(LARCH))


def problems(decoded: Smbios) -> list[tuple[int, str]]:
    return [(defect.offset, defect.problem) for defect in decoded.defects]


# --- a real table, and what the kernel made of it --------------------------------------


def test_the_structures_are_the_kernels_entries() -> None:
    kernel = {name: attributes for name, attributes in kernel_parse(LARCH).items() if name != "id"}
    ours = {
        f"{one.structure_type}-0": {
            "type": str(one.structure_type),
            "handle": str(one.handle),
            "length": str(len(one.formatted) // 2),
            "instance": "0",
        }
        for one in larch().structures
    }
    assert ours == kernel
    assert larch().defects == ()


def test_the_strings_are_what_the_kernel_exports() -> None:
    decoded = larch()
    (firmware,), (system,), (board,), (chassis,) = (
        decoded.firmware,
        decoded.systems,
        decoded.baseboards,
        decoded.enclosures,
    )
    ours = {
        "bios_vendor": firmware.vendor,
        "bios_version": firmware.version,
        "bios_date": firmware.release_date,
        "bios_release": firmware.release,
        "sys_vendor": system.manufacturer,
        "product_name": system.product_name,
        "product_version": system.version,
        "product_serial": system.serial_number,
        "product_uuid": system.uuid,
        "product_sku": system.sku_number,
        "product_family": system.family,
        "board_vendor": board.manufacturer,
        "board_name": board.product,
        "board_version": board.version,
        "board_serial": board.serial_number,
        "board_asset_tag": board.asset_tag,
        "chassis_vendor": chassis.manufacturer,
        "chassis_type": str(chassis.chassis_type),
        "chassis_version": chassis.version,
        "chassis_serial": chassis.serial_number,
        "chassis_asset_tag": chassis.asset_tag or "",
    }
    assert ours == kernel_parse(LARCH)["id"]


def test_what_the_kernel_does_not_export_of_the_chassis_and_the_board() -> None:
    (chassis,), (board,) = larch().enclosures, larch().baseboards
    assert (chassis.chassis_name, chassis.locked, chassis.sku_number) == ("notebook", False, "L13")
    assert board.location_in_chassis == "main"
    assert larch().firmware[0].controller_release is None


def test_the_battery_that_the_firmware_believes_in() -> None:
    (battery,) = larch().portable_batteries
    assert (battery.location, battery.manufacturer, battery.device_name) == ("Rear", "Fernhill Cells", "LB-4C50")
    assert (battery.design_capacity_mwh, battery.design_voltage_mv) == (5004 * 10, 11400)
    assert (battery.chemistry, battery.chemistry_name, battery.sbds_chemistry) == (None, "", "LION")
    assert (battery.manufacture_date, battery.sbds_manufacture_date, battery.made_on) == (
        None,
        "2025-03-01",
        "2025-03-01",
    )
    assert (battery.serial_number, battery.sbds_serial_number, battery.serial) == ("FB000777", None, "FB000777")
    assert (battery.sbds_version, battery.maximum_error_percent) == ("1.1", 2)


def test_the_touch_pad_and_an_interface_that_no_standard_has() -> None:
    (pad,) = larch().pointing_devices
    assert (pad.kind_name, pad.button_count) == ("touch pad", 2)
    assert (pad.interface, pad.interface_name) == (0x0B, "")


def test_a_memory_device_that_is_fitted() -> None:
    (memory,) = larch().memory_devices
    assert (memory.fitted, memory.size_mib, memory.form_factor_name, memory.memory_name) == (True, 512, "DIMM", "RAM")
    assert (memory.device_locator, memory.speed_mts, memory.part_number) == ("DIMM 0", 3200, "DDR-8G")


def test_each_entry_on_its_own_says_the_same() -> None:
    table = bytes_of(LARCH)
    whole = larch()
    found = []
    for one in whole.structures:
        alone = smbios.decode_entry(table[one.offset : one.offset + one.length])
        assert alone.defects == ()
        found.append(alone)
    assert [one.structures[0].formatted for one in found] == [one.formatted for one in whole.structures]
    assert [battery for one in found for battery in one.portable_batteries] == list(whole.portable_batteries)
    assert [system for one in found for system in one.systems] == list(whole.systems)


# --- constructed by the standard --------------------------------------------------------

BATTERY = "16 1a 16 00 00 00 00 00 00 {chemistry} {capacity} 00 00 00 ff 3412 {date} 00 {multiplier} 00000000"


def battery(
    chemistry: str = "06", capacity: str = "8813", date: str = "0000", multiplier: str = "01"
) -> smbios.PortableBattery:
    text = BATTERY.format(chemistry=chemistry, capacity=capacity, date=date, multiplier=multiplier)
    (found,) = smbios.decode_entry(structure(text)).portable_batteries
    return found


def test_a_smart_battery_leaves_its_texts_empty() -> None:
    found = battery(date="615a")
    assert (found.location, found.manufacturer, found.device_name, found.sbds_version) == (None, None, None, None)
    assert (found.sbds_serial_number, found.serial) == (0x1234, "1234")
    assert found.made_on == "2025-03-01"
    assert (found.design_voltage_mv, found.maximum_error_percent) == (None, None)
    assert (found.chemistry, found.chemistry_name, found.sbds_chemistry) == (6, "lithium-ion", None)


@pytest.mark.parametrize(
    ("capacity", "multiplier", "expected"),
    [
        pytest.param("8813", "01", 5000, id="as it is"),
        pytest.param("8813", "0a", 50000, id="times ten"),
        pytest.param("0000", "0a", None, id="unknown"),
        pytest.param("8813", "00", 5000, id="a multiplier of nothing"),
    ],
)
def test_the_multiplier(capacity: str, multiplier: str, expected: int | None) -> None:
    assert battery(capacity=capacity, multiplier=multiplier).design_capacity_mwh == expected


@pytest.mark.parametrize("length", [0x10, 0x12, 0x15])
def test_a_structure_that_ends_before_the_multiplier_has_none(length: int) -> None:
    full = bytes.fromhex(BATTERY.format(chemistry="06", capacity="8813", date="0000", multiplier="0a"))
    short = bytes([full[0], length]) + full[2:length] + b"\0\0"
    decoded = smbios.decode_entry(short)
    assert decoded.portable_batteries[0].design_capacity_mwh == 5000
    assert decoded.portable_batteries[0].oem_specific is None
    assert decoded.defects == ()


def test_a_date_that_no_calendar_has() -> None:
    text = BATTERY.format(chemistry="06", capacity="8813", date="ff5b", multiplier="01")
    decoded = smbios.decode_entry(structure(text))
    assert decoded.portable_batteries[0].made_on is None
    assert problems(decoded) == [(0x12, "2025-15-31 is no date")]


def test_a_socket_of_the_case_has_two_names() -> None:
    decoded = smbios.decode_entry(structure("08 09 08 00 01 00 02 12 10", "J2A1", "USB left"))
    (port,) = decoded.port_connectors
    assert (port.internal_designator, port.external_designator) == ("J2A1", "USB left")
    assert (port.internal_connector_name, port.external_connector_name, port.port_name) == ("none", "USB", "USB")


def test_an_empty_slot_and_its_bus_address() -> None:
    decoded = smbios.decode_entry(structure("09 11 09 00 01 17 08 03 04 01 00 0c 01 00 00 00 e1", "M.2 disk"))
    (slot,) = decoded.slots
    assert (slot.designation, slot.slot_name, slot.usage_name) == ("M.2 disk", "M.2 socket 3, key M", "available")
    assert (slot.slot_id, slot.bus_address) == (1, "0000:00:1c.1")


@pytest.mark.parametrize(
    ("size", "fitted", "mib"),
    [
        pytest.param("0000", False, None, id="empty"),
        pytest.param("ffff", True, None, id="unknown"),
        pytest.param("0020", True, 8192, id="in MiB"),
        pytest.param("0082", True, 0.5, id="in KiB"),
        pytest.param("ff7f", True, 65536, id="extended"),
    ],
)
def test_the_size_of_a_memory_device(size: str, fitted: bool, mib: float | None) -> None:
    text = f"11 22 11 00 0010 feff ffff ffff {size} 0d 00 01 00 1a 0000 0000 00 00 00 00 00 00000100 0000"
    (memory,) = smbios.decode_entry(structure(text, "bottom")).memory_devices
    assert (memory.fitted, memory.size_mib) == (fitted, mib)
    assert (memory.device_locator, memory.form_factor_name, memory.memory_name) == ("bottom", "SODIMM", "DDR4")
    assert (memory.speed_mts, memory.configured_speed_mts, memory.manufacturer) == (None, None, None)


@pytest.mark.parametrize(
    ("kind", "enabled", "name"), [("85", True, "ethernet"), ("05", False, "ethernet"), ("8b", True, "wireless LAN")]
)
def test_an_onboard_device_may_be_switched_off(kind: str, enabled: bool, name: str) -> None:
    decoded = smbios.decode_entry(structure(f"29 0b 29 00 01 {kind} 01 00 00 00 c8", "Onboard"))
    (device,) = decoded.onboard_devices
    assert (device.reference_designation, device.enabled, device.device_name) == ("Onboard", enabled, name)
    assert (device.instance, device.bus_address) == (1, "0000:00:19.0")


def test_a_locked_chassis_with_contained_elements_before_its_sku() -> None:
    text = "03 1c 03 00 01 8a 00 00 00 03 03 03 03 00000000 00 01 02 03 aabbcc ddeeff 02"
    (chassis,) = smbios.decode_entry(structure(text, "Fernhill", "L13")).enclosures
    assert (chassis.chassis_type, chassis.locked, chassis.sku_number) == (10, True, "L13")


@pytest.mark.parametrize("raw", ["00" * 16, "ff" * 16])
def test_a_uuid_that_is_not_set(raw: str) -> None:
    (system,) = smbios.decode_entry(structure(f"01 1b 01 00 00 00 00 00 {raw} 06 00 00")).systems
    assert system.uuid is None


def test_an_unknown_type_is_kept() -> None:
    decoded = smbios.decode(structure("dd 06 dd 00 aa bb", "ours") + END)
    assert decoded.defects == ()
    assert (decoded.structures[0].formatted, decoded.structures[0].strings) == ("dd06dd00aabb", ("ours",))


def test_zeros_after_the_end_are_padding() -> None:
    decoded = smbios.decode(END + bytes(10))
    assert (decoded.padding, decoded.defects) == (10, ())


def test_a_string_cannot_write_to_the_terminal() -> None:
    raw = bytes.fromhex("01 08 01 00 01 00 00 00") + b"Larch\x1b[2J\xff\xe2\x80\xae\0\0"
    (system,) = smbios.decode_entry(raw).systems
    assert system.manufacturer == "Larch\\x1b[2J\\xff\\u202e"


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        pytest.param(b"", [(0, "no end-of-table structure")], id="nothing"),
        pytest.param(
            bytes.fromhex("01 08"),
            [(0, "2 bytes, too few for a structure"), (2, "no end-of-table structure")],
            id="not even a header",
        ),
        pytest.param(
            bytes.fromhex("01 03 00 00 00 00"),
            [
                (0, "a structure of 3 bytes, below the 4 of its header; what follows was not read"),
                (6, "no end-of-table structure"),
            ],
            id="shorter than its header",
        ),
        pytest.param(
            bytes.fromhex("01 1b 01 00 00 00"),
            [(0, "a structure of 27 bytes, but only 6 of them are there"), (6, "no end-of-table structure")],
            id="past the end",
        ),
        pytest.param(
            structure("01 08 01 00 02 00 00 00", "one") + END,
            [(4, "string 2 is asked for, there are 1")],
            id="a string that is not there",
        ),
        pytest.param(
            END[:5],
            [(4, "the strings are not ended by two zero bytes")],
            id="strings without an end",
        ),
        pytest.param(
            END + structure("01 08 01 00 00 00 00 00"),
            [(6, "10 bytes after the end-of-table structure")],
            id="something after the end",
        ),
    ],
)
def test_what_is_wrong(table: bytes, expected: list[tuple[int, str]]) -> None:
    assert problems(smbios.decode(table)) == expected


def test_an_entry_is_one_structure() -> None:
    decoded = smbios.decode_entry(END + END)
    assert len(decoded.structures) == 1
    assert problems(decoded) == [(6, "6 bytes after the structure")]
    assert problems(smbios.decode_entry(b"")) == [(0, "0 bytes, too few for a structure")]


def test_it_is_bounded() -> None:
    many = smbios.decode(structure("dd 04 dd 00") * (smbios.MOST + 5))
    assert len(many.structures) == smbios.MOST
    assert many.defects[0].problem == f"more than {smbios.MOST} structures; the rest was not read"
    long = smbios.decode(END + bytes(smbios.LONGEST))
    assert [defect.length for defect in long.defects] == [6]
    assert "longer than" in long.defects[0].problem

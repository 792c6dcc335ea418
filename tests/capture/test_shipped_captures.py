"""The demo's captures: what they show, that they are what the capture room makes, and that nobody is in them."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from support.looking import XHCI, at, shown
from support.make_captures import SHIPPED, made

from usbwatch.capture import load
from usbwatch.capture.document import digest
from usbwatch.model import Capture, CoverageState, Node, Rung

_FOLDER = Path(__file__).parents[2] / "captures"
_PROFILES = _FOLDER.parent / "profiles"
_HEALTHY = {
    "larch-13-healthy": "fernhill-larch-13",
    "heron-14-healthy": "brackwell-heron-14",
    "plover-12-healthy": "ostrey-plover-12",
}


def _capture(name: str) -> Capture:
    return load(str(_FOLDER / f"{name}.json"))


def test_every_file_is_told_and_every_capture_is_shipped() -> None:
    assert {path.stem for path in _FOLDER.glob("*.json")} - {"capture.schema"} == set(SHIPPED)
    page = (_FOLDER / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"`([a-z]+-[a-z0-9-]+)\.json`", page)) == set(SHIPPED)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_capture_is_what_the_capture_room_makes(name: str) -> None:
    assert made(SHIPPED[name]) == (_FOLDER / f"{name}.json").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_capture_loads_and_its_digest_fits(name: str) -> None:
    capture = _capture(name)
    plain = json.loads((_FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    assert plain["digest"] == digest(plain)
    assert (capture.taken_at, capture.system.source, capture.system.virtual) == (SHIPPED[name].taken_at, "tree", "")
    assert re.fullmatch(r"2026-\d\d-\d\dT\d\d:\d\d:00Z", capture.taken_at)
    assert {one.state for one in capture.coverage} <= {CoverageState.OK, CoverageState.EMPTY}


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_capture_fits_the_shipped_schema(name: str) -> None:
    import jsonschema

    schema = json.loads((_FOLDER / "capture.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    plain = json.loads((_FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.validate(plain, schema, cls=jsonschema.Draft202012Validator)


# --- No private identifier -------------------------------------------------------------

_OURS = re.compile(r"LG-[A-Z0-9]{4}-DEMO")
_ADDRESS = re.compile(r"(?i)\b[0-9a-f]{2}(?::[0-9a-f]{2}){5}\b")
_UUID = re.compile(r"(?i)\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b")
_LOCALLY_ADMINISTERED = 0x02
_INVENTED_MAKERS = {"Fernhill", "Brackwell", "Ostrey"}


def _serials(value: object) -> list[str]:
    """Every value in a document whose name says that it is a serial number."""
    if isinstance(value, dict):
        own = [text for name, text in value.items() if "serial" in name and isinstance(text, str)]
        return own + [serial for item in value.values() for serial in _serials(item)]
    if isinstance(value, list):
        return [serial for item in value for serial in _serials(item)]
    return []


@pytest.mark.parametrize("name", SHIPPED)
def test_serial_numbers_are_invented(name: str) -> None:
    plain = json.loads((_FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    serials = [serial for serial in _serials(plain) if not re.fullmatch(r"0000:00:[0-9a-f]{2}\.0", serial)]
    assert len(serials) >= 2
    assert [serial for serial in serials if not _OURS.fullmatch(serial)] == []


@pytest.mark.parametrize("name", SHIPPED)
def test_hardware_addresses_are_locally_administered(name: str) -> None:
    """IEEE 802: bit 1 of the first octet; such an address is given out by nobody."""
    addresses = _ADDRESS.findall((_FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    assert addresses
    assert [one for one in addresses if not int(one[:2], 16) & _LOCALLY_ADMINISTERED] == []


@pytest.mark.parametrize("name", SHIPPED)
def test_nothing_else_names_a_machine_or_a_person(name: str) -> None:
    text = (_FOLDER / f"{name}.json").read_text(encoding="utf-8")
    assert _UUID.findall(text) == []
    assert re.findall(r"/(?:home|tmp|work|root)/", text) == []
    assert _capture(name).unit.sys_vendor in _INVENTED_MAKERS


@pytest.mark.parametrize("name", SHIPPED)
def test_usb_ids_are_those_set_aside_for_tests_and_the_kernels_own(name: str) -> None:
    """1209:0001 to 1209:0010 are pid.codes' test ids; 1d6b:0002 and 0003 are the kernel's root hubs."""
    ids = {node.identity for node in _capture(name).nodes if node.bus == "usb" and ":" in node.identity}
    allowed = {f"1209:{number:04x}" for number in range(1, 0x11)} | {"1d6b:0002", "1d6b:0003"}
    assert ids - allowed == set()


# --- What they show ------------------------------------------------------------------------


def _expected_of(profile: str) -> dict[str, dict[str, Any]]:
    return dict(tomllib.loads((_PROFILES / f"{profile}.toml").read_text(encoding="utf-8"))["device"])


def _as_list(value: str | list[str]) -> list[str]:
    return [value] if isinstance(value, str) else value


def _found(capture: Capture, device: dict[str, Any]) -> list[Node]:
    places = _as_list(device.get("location", []))
    return [node for node in capture.nodes if node.location in places and node.bus != "usb-port"]


@pytest.mark.parametrize("name", _HEALTHY)
def test_a_healthy_unit_shows_what_its_profile_expects_where_it_expects_it(name: str) -> None:
    capture = _capture(name)
    for device in _expected_of(_HEALTHY[name]).values():
        if "location" not in device:
            continue
        nodes = _found(capture, device)
        assert nodes, device["name"]
        wanted = Rung(device.get("reaches", "working"))
        assert any(node.rung.reaches(wanted) for node in nodes), device["name"]
        if "identity" in device:
            assert {node.identity for node in nodes} & set(_as_list(device["identity"])), device["name"]


def test_the_plovers_disk_is_inside_and_works() -> None:
    """Its profile names no place for it."""
    disks = [node for node in _capture("plover-12-healthy").nodes if node.functions == ("disk",) and node.bus == "pci"]
    assert [(node.location, node.rung) for node in disks] == [("pci0000:00/1d.0/00.0", Rung.WORKING)]


_USB2 = f"{XHCI}/usb2"


def _lost(name: str, healthy: str) -> set[str]:
    """Places at which the healthy unit has a device and the other one has not."""
    there = {node.location for node in _capture(name).nodes if node.bus != "usb-port"}
    return {node.location for node in _capture(healthy).nodes if node.bus != "usb-port"} - there


def test_the_lost_top_case_takes_what_hangs_on_its_flex_and_nothing_else() -> None:
    """By the profile keyboard, touchpad, fingerprint reader and gauge need the flex; the smart card reader does not."""
    name, healthy = "larch-13-top-case-lost", "larch-13-healthy"
    ports = {f"{_USB2}/4.{port}" for port in (1, 2, 3)}
    assert {place for place in _lost(name, healthy) if place.count("/") == 3} == ports
    assert all(place.startswith(tuple(ports)) for place in _lost(name, healthy))
    capture = _capture(name)
    assert [at(capture, port, "usb-port").facts["state"] for port in sorted(ports)] == ["not attached"] * 3
    assert at(capture, f"{_USB2}/4.4", "usb").rung is Rung.CONFIGURED
    assert at(capture, f"{_USB2}/4", "usb").rung is Rung.WORKING
    assert _needs_of_flex() == {"keyboard", "touchpad", "fingerprint-reader", "battery", "lid", "power-button"}


def _needs_of_flex() -> set[str]:
    devices = _expected_of("fernhill-larch-13")
    return {name for name, device in devices.items() if "top-case-flex" in device.get("needs", [])}


@pytest.mark.parametrize("name", ["larch-13-top-case-lost", "larch-13-after-top-case"])
def test_the_gauge_is_mute_and_not_new(name: str) -> None:
    capture = _capture(name)
    gauge = at(capture, "acpi/_SB_.BAT0/power_supply", "power_supply")
    assert (gauge.rung, gauge.facts["cycle_count"]) == (Rung.ATTACHED, -1)
    assert not {"charge_full", "voltage_now", "capacity"} & gauge.facts.keys()
    assert at(capture, "acpi/_SB_.BAT0", "acpi").facts["status"] == 31


def test_another_top_case_brings_all_back_but_the_gauge() -> None:
    before, after = _capture("larch-13-after-top-case"), _capture("larch-13-healthy")
    differing = {one.location for one in after.nodes if one not in before.nodes}
    assert differing == {"acpi/_SB_.BAT0", "acpi/_SB_.BAT0/power_supply"}


def test_the_silent_touchpad_is_declared_and_does_not_answer() -> None:
    capture = _capture("heron-14-touchpad-silent")
    pad = "acpi/_SB_.PCI0.I2C0.TPD0"
    assert shown(capture, pad) == ["acpi", "i2c"]
    assert at(capture, pad, "i2c").rung is Rung.ATTACHED
    assert at(capture, "acpi/_SB_.PCI0.I2C1.TPL1", "i2c").rung is Rung.WORKING
    assert _lost("heron-14-touchpad-silent", "heron-14-healthy") == {f"{pad}/hid", f"{pad}/hid/input"}

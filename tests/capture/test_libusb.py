"""The capture's USB devices against libusb, by the reference library pyusb.

libusb reads the copied tree through umockdev as if it were this machine's
``/sys``, decodes the kernel's ``descriptors`` itself, and tells speed and
port numbers in its own terms (libusb.h: ``enum libusb_speed``).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.looking import XHCI, look
from support.reference_lists import Record, copy_of, under_umockdev
from support.sysfs import Conditions, build
from support.units import DOCK, HERON, LARCH, MOUSE, PLOVER, STICK

from usbwatch.capture.decode import usb_descriptors
from usbwatch.model import Capture, Kind, Node

_Tree = Callable[..., Path]
_SPEEDS = {1: 1_500, 2: 12_000, 3: 480_000, 4: 5_000_000}
_Rows = set[tuple[str, str, int, tuple[tuple[int, int], ...]]]


def _of_libusb(records: list[Record]) -> _Rows:
    """Port chain from the root hub, vendor and product, kbit/s, interfaces."""
    roots = {record["bus"]: record["identity"][-1] for record in records if not record["ports"]}
    rows = set()
    for record in records:
        chain = ".".join(str(port) for port in record["ports"])
        place = f"usb{roots[record['bus']]}/{chain}".rstrip("/")
        interfaces = tuple((number, base) for number, base in record["interfaces"])
        rows.add((place, record["identity"], _SPEEDS[record["speed"]], interfaces))
    return rows


def _of_capture(capture: Capture) -> _Rows:
    rows = set()
    for node in capture.nodes:
        if node.bus == "usb" and node.kind is not Kind.INTERFACE:
            speed = node.facts["speed_kbps"]
            assert isinstance(speed, int)
            rows.add((node.location.partition(f"{XHCI}/")[2], node.identity, speed, _interfaces(node)))
    return rows


def _interfaces(node: Node) -> tuple[tuple[int, int], ...]:
    decoded = usb_descriptors.decode(bytes.fromhex(node.raw["descriptors"]))
    found = {(one.number, one.interface_class) for each in decoded.configurations for one in each.interfaces}
    return tuple(sorted(found))


@pytest.mark.parametrize(
    ("archive", "count"),
    [
        ("healthy", 11),
        ("keyboard-missing", 10),
        ("keyboard-touchpad-missing", 9),
        ("touchpad-enumeration-failure", 10),
        ("camera-full-speed", 11),
        ("external-devices", 14),
    ],
)
def test_a_real_kernels_tree(real_tree: _Tree, tmp_path: Path, archive: str, count: int) -> None:
    listed = _of_libusb(under_umockdev(copy_of(real_tree(archive), tmp_path / "copy"), "pyusb"))
    assert len(listed) == count
    assert _of_capture(look(real_tree(archive))) == listed


@pytest.mark.parametrize(
    ("unit", "conditions"),
    [
        pytest.param(LARCH, Conditions(sockets=(DOCK, STICK)), id="larch with dock and stick"),
        pytest.param(LARCH, Conditions(sockets=(MOUSE,), slow={"camera": 12}), id="larch with a slow camera"),
        pytest.param(PLOVER, Conditions(), id="plover"),
    ],
)
def test_an_invented_tree(tmp_path: Path, unit: Any, conditions: Conditions) -> None:  # noqa: ANN401
    root = build(unit, tmp_path / "unit", conditions)
    shown = _of_capture(look(root))
    listed = _of_libusb(under_umockdev(root, "pyusb"))
    assert len(listed) > 6
    assert shown == listed


def test_two_controllers_of_one_unit(tmp_path: Path) -> None:
    """libusb knows buses, not controllers: four root hubs, and the devices of one of them."""
    root = build(HERON, tmp_path / "unit")
    capture = look(root)
    listed = under_umockdev(root, "pyusb")
    assert sorted(record["identity"] for record in listed) == sorted(
        node.identity for node in capture.nodes if node.bus == "usb" and node.kind is not Kind.INTERFACE
    )

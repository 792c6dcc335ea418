"""The real libusb on copied trees: the same USB devices as sysfs shows, to the byte, at the same places.

umockdev shows the tree to a whole process as its ``/sys``, so the capture
through libusb is taken in a process of its own.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.looking import look
from support.needs import needed_tool
from support.reference_lists import copy_of
from support.sysfs import Conditions, build
from support.units import DOCK, HERON, LARCH, PLOVER, STICK

from usbwatch.capture.saved import parse
from usbwatch.model import Capture, Kind

_Tree = Callable[..., Path]
_Row = tuple[str, Kind, str, dict[str, object]]

COMPARED = (
    "bConfigurationValue",
    "bMaxPacketSize0",
    "bNumConfigurations",
    "bNumInterfaces",
    "bcdDevice",
    "class",
    "max_power_ma",
    "speed_kbps",
    "version",
)
"""Facts that both ways have."""

_TAKE = (
    "from usbwatch.capture import to_json; from usbwatch.capture.portable import take_portable;"
    "print(to_json(take_portable(taken_at='', battery=lambda: None)))"
)


def through_libusb(root: Path) -> Capture:
    """A capture through the bundled libusb of the tree at ``root``, which umockdev leaves a socket in."""
    wrapper = needed_tool("umockdev-wrapper", "umockdev")
    done = subprocess.run(
        [wrapper, sys.executable, "-c", _TAKE],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "UMOCKDEV_DIR": str(root), "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    assert done.returncode == 0, done.stderr
    return parse(done.stdout.encode(), "printed")


def usb_nodes(capture: Capture) -> dict[str, _Row]:
    return {
        node.location: (
            node.identity,
            node.kind,
            node.raw.get("descriptors", ""),
            {name: node.facts[name] for name in COMPARED if name in node.facts},
        )
        for node in capture.nodes
        if node.bus == "usb"
    }


@pytest.mark.parametrize(
    ("archive", "devices"),
    [
        ("healthy", 9),
        ("keyboard-missing", 8),
        ("touchpad-enumeration-failure", 8),
        ("camera-full-speed", 9),
        ("external-devices", 12),
    ],
)
def test_a_real_kernels_tree(real_tree: _Tree, tmp_path: Path, archive: str, devices: int) -> None:
    listed = through_libusb(copy_of(real_tree(archive), tmp_path / "copy"))
    assert sum(node.bus == "usb" and node.kind is Kind.DEVICE for node in listed.nodes) == devices
    assert usb_nodes(listed) == usb_nodes(look(real_tree(archive)))


@pytest.mark.parametrize(
    ("unit", "conditions"),
    [
        pytest.param(LARCH, Conditions(sockets=(DOCK, STICK)), id="larch with dock and stick"),
        pytest.param(HERON, Conditions(), id="heron, two controllers"),
        pytest.param(PLOVER, Conditions(), id="plover"),
    ],
)
def test_an_invented_tree(tmp_path: Path, unit: Any, conditions: Conditions) -> None:  # noqa: ANN401
    root = build(unit, tmp_path / "unit", conditions)
    shown = usb_nodes(look(root))
    assert len(shown) > 12
    assert usb_nodes(through_libusb(root)) == shown

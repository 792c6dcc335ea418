"""HID devices and input nodes: what a keyboard, touchpad or switch turned into.

Names and bus codes: drivers/hid/hid-core.c, include/uapi/linux/input.h. The
report descriptor is what the kernel read when it bound the device.
"""

from __future__ import annotations

import re
from typing import Dict, Iterator

from usbwatch.capture.decode.hid_report import decode, functions_of
from usbwatch.capture.functions import of_input, union
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Fact, Kind, Node, Rung

__all__ = ["HID_FOLDER", "INPUT_FOLDER", "hid_nodes", "input_nodes"]

HID_FOLDER = "sys/bus/hid/devices"
INPUT_FOLDER = "sys/class/input"

_HID_NAME = re.compile(r"([0-9A-F]{4}):([0-9A-F]{4}):([0-9A-F]{4})\.[0-9A-F]+\Z")
_INPUT_NAME = re.compile(r"input\d+\Z")
_BITMAPS = ("ev", "key", "rel", "abs", "sw")


def hid_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every HID device, with the functions that its report descriptor tells."""
    for name, folder in sight.devices(HID_FOLDER):
        shape = _HID_NAME.match(name)
        if not shape:
            continue
        report = sight.blob(folder, "report_descriptor")
        driver = sight.points_to(folder, "driver")
        yield Node(
            bus="hid",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.BOUND if driver else Rung.IDENTIFIED,
            identity=f"{shape.group(2)}:{shape.group(3)}".lower(),
            name=_uevent(sight, folder).get("HID_NAME", ""),
            functions=union(functions_of(decode(report))),
            driver=driver,
            facts={"bus_type": shape.group(1).lower()},
            raw={"report_descriptor": report.hex()} if report else {},
        )


def _uevent(sight: Sight, folder: str) -> Dict[str, str]:
    lines = sight.text(folder, "uevent").split("\n")
    return dict(line.split("=", 1) for line in lines if "=" in line)


def input_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every input node of hardware."""
    for name, folder in sight.devices(INPUT_FOLDER):
        if not _INPUT_NAME.match(name):
            continue
        capabilities = {bitmap: sight.text(f"{folder}/capabilities", bitmap) for bitmap in _BITMAPS}
        capabilities["properties"] = sight.text(folder, "properties")
        facts: Dict[str, Fact] = {
            **{key: words for key, words in capabilities.items() if words not in ("", "0")},
            **sight.facts(folder, "id/bustype"),
        }
        yield Node(
            bus="input",
            location=places.of(folder),
            kind=Kind.FUNCTION,
            rung=Rung.WORKING,
            identity=f"{sight.text(folder, 'id/vendor')}:{sight.text(folder, 'id/product')}",
            name=sight.text(folder, "name"),
            functions=of_input(capabilities),
            facts=facts,
        )

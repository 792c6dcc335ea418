"""A small invented unit on disk, with its profile and captures, and the command run on it as a user runs it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from usbwatch.capture import to_json
from usbwatch.model import Capture, Coverage, CoverageState, Kind, Node, Rung, System, UnitStrings

__all__ = ["PROFILE_TOML", "clean_environment", "lay_out", "run", "small_capture", "small_tree"]

USB2 = "pci0000:00/14.0/usb2"

PROFILE_TOML = """\
format = "usbwatch-profile"
schema = 1
id = "plover-small"
name = "Plover small"
source = "invented for a test"

[match]
sys_vendor = "Ostrey"
product_name = "Plover S"

[subassembly.mainboard]
name = "Mainboard"
cost = 200

[subassembly.top-case]
name = "Top case"
cost = 60

[link.flex]
name = "Flex"
joins = ["mainboard", "top-case"]

[device.keyboard]
name = "Keyboard"
function = "keyboard"
within = "top-case"
location = "pci0000:00/14.0/usb2/1"
identity = "1209:0001"
needs = ["mainboard", "flex", "top-case"]

[device.bluetooth]
name = "Bluetooth"
function = "bluetooth"
within = "mainboard"
location = "pci0000:00/14.0/usb2/2"
identity = "1209:0004"
needs = ["mainboard"]

[check.caps-light]
question = "Does the caps lock light come on?"
needs = ["mainboard", "flex", "top-case"]
"""

_SEEN = (
    Coverage(bus="pci", state=CoverageState.OK, nodes=1),
    Coverage(bus="usb", state=CoverageState.OK, nodes=3),
)
_BLIND = (Coverage(bus="usb", state=CoverageState.NOT_PERMITTED, why="refused", root_would_help=True),)

_CONTROLLER = Node(
    bus="pci", location="pci0000:00/14.0", kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING, driver="xhci_hcd"
)
_ROOT = Node(bus="usb", location=USB2, kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING, functions=("hub",), driver="hub")


def _device(port: int, identity: str, function: str) -> Node:
    return Node(
        bus="usb",
        location=f"{USB2}/{port}",
        kind=Kind.DEVICE,
        rung=Rung.WORKING,
        identity=identity,
        name=f"Plover {function}",
        functions=(function,),
        driver="usb",
        facts={"removable": "fixed", "speed_kbps": 12000},
    )


def _port(port: int, *, filled: bool) -> Node:
    return Node(
        bus="usb-port",
        location=f"{USB2}/{port}",
        kind=Kind.PORT,
        rung=Rung.IDENTIFIED if filled else Rung.ABSENT,
        facts={"connect_type": "hardwired"},
    )


def small_capture(*, keyboard: bool = True, usb_seen: bool = True, product: str = "Plover S") -> Capture:
    """A capture of the small unit: whole, without its keyboard, or with its USB bus unseen."""
    devices = [_device(2, "1209:0004", "bluetooth"), *([_device(1, "1209:0001", "keyboard")] if keyboard else [])]
    nodes = [_CONTROLLER]
    if usb_seen:
        nodes += [_ROOT, _port(1, filled=keyboard), _port(2, filled=True), *devices]
    return Capture(
        taken_at="2026-11-24T14:05:00Z",
        tool="0.1.0",
        system=System(platform="linux"),
        unit=UnitStrings(sys_vendor="Ostrey", product_name=product, product_serial="LG-0002-DEMO"),
        coverage=_SEEN if usb_seen else _BLIND,
        nodes=tuple(sorted(nodes, key=lambda one: (one.location, one.bus))),
    )


def lay_out(folder: Path) -> Path:
    """Write the small unit's profile and captures into ``folder``."""
    (folder / "profiles").mkdir()
    (folder / "profiles" / "plover-small.toml").write_text(PROFILE_TOML, encoding="utf-8")
    captures = {
        "whole": small_capture(),
        "lost": small_capture(keyboard=False),
        "unseen": small_capture(usb_seen=False),
        "stranger": small_capture(product="Nothing known"),
    }
    for name, capture in captures.items():
        (folder / f"{name}.json").write_text(to_json(capture), encoding="utf-8")
    (folder / "broken.json").write_text('{"format": "usbwatch-capture", ', encoding="utf-8")
    return folder


def small_tree(folder: Path, product: str = "Plover S") -> Path:
    """A copied tree that holds little more than the unit's name."""
    dmi = folder / "sys" / "class" / "dmi" / "id"
    dmi.mkdir(parents=True)
    (dmi / "sys_vendor").write_text("Ostrey\n", encoding="utf-8")
    (dmi / "product_name").write_text(f"{product}\n", encoding="utf-8")
    return folder


def clean_environment(folder: Path, **more: str) -> dict[str, str]:
    """The environment without what steers output, and with the small unit's profile as the user's own."""
    steering = {"NO_COLOR", "FORCE_COLOR", "COLUMNS", "TERM", "PYTHONIOENCODING", "USBWATCH_DEBUG"}
    kept = {key: value for key, value in os.environ.items() if key not in steering}
    return kept | {"USBWATCH_PROFILES": str(folder / "profiles"), "PYTHONUTF8": "1"} | more


def run(folder: Path, *arguments: str, stdin: str = "", **environ: str) -> subprocess.CompletedProcess[str]:
    """Run the command in ``folder`` with nothing of it on a terminal."""
    return subprocess.run(
        [sys.executable, "-m", "usbwatch", *arguments],
        cwd=folder,
        env=clean_environment(folder, **environ),
        input=stdin,
        capture_output=True,
        encoding="utf-8",
        errors="backslashreplace",
        timeout=60,
        check=False,
    )

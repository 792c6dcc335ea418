"""The kit laid out in a folder, and its collectors run as a person at a unit would."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from support.more_buses import (
    card,
    chip_fan,
    firmware_fan,
    light_sensor,
    motion_sensor,
    pci_function,
    serial_disk,
    soundwire_codec,
    thermal_zone,
    thunderbolt,
    typec_partner,
    typec_port,
)

from usbwatch.cli.taking import taken
from usbwatch.kit import kit_files

__all__ = [
    "PLAIN_PYTHON",
    "PYTHON",
    "SHELLS",
    "add_all_buses",
    "by_full_program",
    "collect",
    "lay_out_kit",
    "shells",
    "stick_of",
]

PYTHON = (sys.executable, "-X", "dev", "-W", "error")
# The same interpreter outside any environment: what PATH calls python3 may be a shell script that looks for one.
PLAIN_PYTHON = os.path.realpath(sys.executable)

SHELLS = {"dash": ("dash",), "ash": ("busybox", "ash"), "bash": ("bash", "--posix")}


def shells() -> list[str]:
    """Those of ``SHELLS`` that are here; one at least always is, for the system's own is one of them."""
    found = [name for name, command in SHELLS.items() if shutil.which(command[0])]
    assert found
    return found


def lay_out_kit(folder: Path) -> Path:
    """A folder with the files that ``usbwatch kit`` writes."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in kit_files():
        (folder / one.name).write_bytes(one.content)
    return folder


def stick_of(kit: Path, folder: Path) -> Path:
    """A new stick with the files of a kit."""
    return Path(shutil.copytree(kit, folder))


def collect(command: Sequence[str], *arguments: str, code: int = 0, **more: object) -> str:
    """What a collector says on standard error; it must end with that code and say nothing on standard output."""
    environ = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "COV_"))}
    done = subprocess.run(  # type: ignore[call-overload]  # ``more`` is handed on
        [*command, *arguments], capture_output=True, check=False, text=True, env={**environ, "TERM": "dumb"}, **more
    )
    assert done.returncode == code, done.stderr
    assert done.stdout == ""
    return str(done.stderr)


def by_full_program(root: Path) -> str:
    """The text of the capture that ``usbwatch capture --root`` takes."""
    from usbwatch.capture import to_json

    return to_json(taken(str(root), None))


def add_all_buses(root: Path) -> None:
    """Add to a built tree a part on every bus that the invented laptops have little or nothing on."""
    host = pci_function(root, "1a.0", "080501", "sdhci-pci")
    card(root, "MMC", host=host, number=5)
    card(root, "SD", host=host, number=6)
    serial_disk(root, number=3, port=1, name="sdx", link={"sata_spd": "3.0 Gbps", "hw_sata_spd_limit": "6.0 Gbps"})
    typec_partner(root, typec_port(root, 0))
    thunderbolt(root, device=True)
    soundwire_codec(root, "Attached", driver="invented-codec")
    light_sensor(root, host, on_hid=False)
    motion_sensor(root, host)
    firmware_fan(root, rpm=2400)
    chip_fan(root, 1800, fault=0)
    thermal_zone(root, 7, "acpitz", 41_000, path="_TZ_.THM0")

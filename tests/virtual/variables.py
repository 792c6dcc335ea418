"""The firmware's own variables before and after a start, as a reader of others tells them (``virt-firmware``, PyPI)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

__all__ = ["SHIM", "level_written", "not_of_firmware"]

SHIM = "605dab50-e046-4300-abb6-3dd810dd8b23"
"""The vendor GUID of shim's variables (shim's README: "SHIM_LOCK_GUID")."""
_FIRMWARE = {
    "8be4df61-93ca-11d2-aa0d-00e098032b8c",  # UEFI Specification, 3.3: EFI_GLOBAL_VARIABLE, as the boot entries
    "eb704011-1402-11d3-8e77-00a0c969723b",  # EDK II: the count of starts, "MTC"
}

Name = tuple[str, str]


def told(store: Path) -> dict[Name, str]:
    """The content of each lasting variable, as hexadecimal digits, by vendor GUID and name."""
    dump = store.with_name(f"{store.name}.json")
    reader = (sys.executable, "-m", "virt.firmware.vars")
    subprocess.run([*reader, "-i", store, "--output-json", dump], check=True, capture_output=True)
    variables = json.loads(dump.read_text("utf-8"))["variables"]
    return {(one["guid"], one["name"]): one["data"] for one in variables}


def not_of_firmware(before: Path, after: Path) -> dict[Name, str]:
    """What was written or taken away ("") by anything but the firmware itself, which writes its boot entries."""
    old, new = told(before), told(after)
    changed = {name for name in old.keys() | new.keys() if old.get(name) != new.get(name)}
    return {name: new.get(name, "") for name in changed if name[0] not in _FIRMWARE}


def level_written(changes: dict[Name, str]) -> str:
    """What shim wrote as its level, as text; all else that changed makes this fail."""
    assert set(changes) == {(SHIM, "SbatLevel")}, changes
    return bytes.fromhex(changes[SHIM, "SbatLevel"]).decode("ascii")

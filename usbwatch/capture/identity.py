"""What firmware calls the unit, and which system is looking.

DMI strings: drivers/firmware/dmi-id.c; the serial numbers among them are
readable by root alone.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Tuple

from usbwatch.capture.sight import Sight, refused_names
from usbwatch.model import Coverage, CoverageState, System, UnitStrings

__all__ = ["DMI_FOLDER", "dmi", "system", "virtual"]

DMI_FOLDER = "sys/class/dmi/id"


def dmi(sight: Sight) -> Tuple[UnitStrings, Coverage]:
    """The unit's strings, and whether there were any to read."""
    folder = sight.real(DMI_FOLDER)
    try:
        sight.entries(folder)
    except OSError:
        why = "no SMBIOS strings in this kernel's tree, so the model is not known"
        return UnitStrings(), Coverage(bus="dmi", state=CoverageState.NOT_THERE, why=why)
    before = len(sight.refused)
    strings = {field.name: sight.text(folder, field.name) for field in fields(UnitStrings)}
    refused = len(sight.refused) - before
    found = sum(bool(text) for text in strings.values())
    return UnitStrings(**strings), Coverage(
        bus="dmi",
        state=CoverageState.OK if found else CoverageState.EMPTY,
        nodes=found,
        why="serial numbers are for root alone" if refused else "",
        root_would_help=bool(refused),
        unread=refused,
        unread_names=refused_names(sight.refused[before:]),
    )


def virtual(sight: Sight) -> str:
    """The sign that the tree describes an emulated or contained machine, or ""."""
    flags = sight.blob("proc", "cpuinfo", 20_000).decode("ascii", "replace").partition("flags")[2].partition("\n")[0]
    if "hypervisor" in flags.split():
        return "the processor says that it runs under a hypervisor"
    return ""


def system(sight: Sight, *, privileged: bool) -> System:
    """The looking system; of a copied tree what its ``meta`` folder tells."""
    kernel = sight.text("proc/sys/kernel", "osrelease")
    if not kernel:
        kernel = "".join(sight.text("meta", "uname.txt").split()[2:3])
    return System(
        platform="linux",
        kernel=kernel,
        source=sight.tree.source,
        privileged=privileged,
        virtual=virtual(sight),
    )

"""Which drivers this kernel has for the devices that none holds, and which of its modules are loaded.

``/lib/modules/RELEASE/modules.alias`` is depmod(8)'s list of what each module
is made for, ``modules.builtin.modinfo`` (Documentation/kbuild/kbuild.rst) that
of what is built in. They are read only when some device has no driver.
"""

from __future__ import annotations

import re
from typing import Dict, FrozenSet, Iterator, List, NamedTuple, Optional, Set, Tuple

from usbwatch.capture.functions import ACPI_FUNCTIONS
from usbwatch.capture.modalias import built_in_aliases, kind_of, listed_aliases, modules_for
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, printable

__all__ = ["DriverList", "Undriven", "driver_list", "loaded", "undriven"]

_BUSES = ("acpi", "hdaudio", "hid", "i2c", "mmc", "pci", "platform", "scsi", "sdio", "serio", "soundwire", "spi", "usb")
_MOST_UNDRIVEN = 200

_RELEASE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._+~-]{0,127}\Z")
_HOLDERS = ("lib/modules", "usr/lib/modules")
_LARGEST_LIST = 8 * 1024 * 1024
"""Bytes of a list that are read at most; a distribution's is of 1 or 2 MB."""

DriverList = Dict[str, Tuple[str, ...]]
"""By modalias the modules that are made for it."""


class Undriven(NamedTuple):
    """A device that no driver holds."""

    place: str
    """Its location."""
    modalias: str
    bus: str


def undriven(sight: Sight, places: Places) -> Tuple[Undriven, ...]:
    """Every device that no driver holds, by location."""
    found = [row for bus in _BUSES for row in _without_driver(sight, places, bus)]
    return tuple(sorted(set(found))[:_MOST_UNDRIVEN])


def _without_driver(sight: Sight, places: Places, bus: str) -> Iterator[Undriven]:
    try:
        folders = [folder for _, folder in sight.devices(f"sys/bus/{bus}/devices")]
    except OSError:
        return
    for folder in folders:
        if sight.points_to(folder, "driver") or (bus == "acpi" and sight.text(folder, "hid") not in ACPI_FUNCTIONS):
            continue
        modalias = sight.text(folder, "modalias")
        place = places.of(folder) if modalias else ""
        if place:
            yield Undriven(place, modalias, bus)
            yield from _as_firmware_names_it(places.firmware_path(folder), place, modalias)


def _as_firmware_names_it(path: str, place: str, modalias: str) -> Iterator[Undriven]:
    """The same device under firmware's name: what firmware declares on a controller hangs on that, not on the bus."""
    if path and path != place:
        yield Undriven(path, modalias, "acpi")


def driver_list(sight: Sight, kernel: str, modaliases: Set[str]) -> Tuple[Optional[DriverList], FrozenSet[str]]:
    """What the kernel of release ``kernel`` has for each modalias, and which of that is built in.

    None when there is no list to look in, or one too large to be a kernel's.
    A device for which nothing is found is left out where it is not known what
    is built in.
    """
    folder = next((place for place in _folders(kernel) if "modules.alias" in sight.names(place)), "")
    if not folder:
        return None, frozenset()
    if not modaliases:
        return {}, frozenset()
    listed, within = (_whole(sight, folder, name) for name in ("modules.alias", "modules.builtin.modinfo"))
    if not listed:
        return None, frozenset()
    from_files = modules_for(listed_aliases(listed, sorted({kind_of(one) for one in modaliases} - {""})), modaliases)
    built_in = modules_for(built_in_aliases(within or ""), modaliases)
    both = {one: tuple(sorted({*modules, *built_in.get(one, ())})) for one, modules in from_files.items()}
    known = both if within is not None else {one: modules for one, modules in both.items() if modules}
    return known, frozenset(module for modules in built_in.values() for module in modules)


def _whole(sight: Sight, folder: str, name: str) -> Optional[str]:
    """A list as text, None where it is not there or too long to be read whole: its end could name the driver."""
    if name not in sight.names(folder):
        return None
    before = len(sight.refused)
    data = sight.blob(folder, name, _LARGEST_LIST + 1)
    return printable(data) if len(data) <= _LARGEST_LIST and len(sight.refused) == before else None


def _folders(kernel: str) -> List[str]:
    """Where a kernel's modules can stand; nowhere for a text that is no release."""
    return [f"{holder}/{kernel}" for holder in _HOLDERS] if _RELEASE.match(kernel) and ".." not in kernel else []


def loaded(sight: Sight) -> Optional[FrozenSet[str]]:
    """The modules that are loaded; None when it cannot be told (a kernel without modules has no list of them).

    ``/proc/modules``, else the folders of ``/sys/module`` (Documentation/ABI/stable/sysfs-module), which also has
    what is built in and takes parameters.
    """
    listed = sight.text("proc", "modules")
    if not listed and sight.tree.source != "live":
        listed = sight.text("meta", "proc-modules.txt")
    if listed:
        return frozenset(line.split()[0] for line in listed.split("\n") if line.strip())
    names = sight.names("sys/module")
    return frozenset(names) if names else None

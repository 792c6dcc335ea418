"""What of the looking system can keep hardware from showing: kernel switches, blacklists, drivers it does not have."""

from __future__ import annotations

import errno
from typing import Dict, List, Tuple

from usbwatch.capture.drivers import Undriven, driver_list, loaded, undriven
from usbwatch.capture.kernel_parameters import blacklists, switches
from usbwatch.capture.modprobe_files import configured
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, refused_names
from usbwatch.model import Blacklisted, Coverage, CoverageState, Software

__all__ = ["COMMAND_LINE", "DRIVER_LIST", "LOADED", "MODPROBE_D", "SILENT_WITHOUT_DRIVER", "software"]

COMMAND_LINE, DRIVER_LIST, LOADED, MODPROBE_D = "command line", "driver list", "loaded modules", "modprobe.d"
"""What ``Software.seen`` calls its sources."""

_SOURCES = (COMMAND_LINE, DRIVER_LIST, LOADED, MODPROBE_D)
SILENT_WITHOUT_DRIVER = frozenset({"acpi", "platform"})
"""Buses most of whose devices have no driver anywhere: one that no module is made for is left out."""


def software(sight: Sight, places: Places, kernel: str) -> Tuple[Software, Coverage]:
    """What could keep hardware from showing, and how much of that could be read; ``kernel`` is its release."""
    before = len(sight.refused)
    line = sight.text("proc", "cmdline")
    if not line and sight.tree.source != "live":
        line = sight.text("meta", "proc-cmdline.txt")
    files = configured(sight)
    without = undriven(sight, places)
    listed, built_in = driver_list(sight, kernel, {one.modalias for one in without})
    running = loaded(sight)
    drivers_for = _by_place(without, listed or {})
    blacklisted = {*blacklists(line), *(files or ())}
    named = {one.module for one in blacklisted} | {module for modules in drivers_for.values() for module in modules}
    seen = {COMMAND_LINE: bool(line), DRIVER_LIST: listed is not None, LOADED: running is not None}
    seen[MODPROBE_D] = files is not None
    told = Software(
        seen=tuple(source for source in _SOURCES if seen[source]),
        switches=switches(line),
        blacklisted=tuple(sorted(blacklisted, key=_order)),
        drivers_for=drivers_for,
        loaded=tuple(sorted(named & ((running or frozenset()) | built_in))),
    )
    return told, _coverage(told, len(running or ()), sight, before)


def _order(one: Blacklisted) -> Tuple[str, str]:
    return one.module, one.where


def _by_place(without: Tuple[Undriven, ...], listed: Dict[str, Tuple[str, ...]]) -> Dict[str, Tuple[str, ...]]:
    """The modules for each place; what can have several devices at one place has the modules of all."""
    found: Dict[str, List[str]] = {}
    for one in without:
        modules = listed.get(one.modalias)
        if modules or (modules is not None and one.bus not in SILENT_WITHOUT_DRIVER):
            found.setdefault(one.place, []).extend(modules)
    return {place: tuple(sorted(set(modules))) for place, modules in found.items()}


def _coverage(told: Software, count: int, sight: Sight, before: int) -> Coverage:
    """What can be said of the looking: ``nodes`` is the number of modules that are loaded."""
    refused = sight.refused[before:]
    lacking = [source for source in _SOURCES if source not in told.seen]
    state, why = CoverageState.OK, f"not to be had: {', '.join(lacking)}" if lacking else ""
    lacks_rights = any(error in (errno.EACCES, errno.EPERM) for _, error in refused)
    if DRIVER_LIST not in told.seen:
        broke_off = CoverageState.FAILED if refused else CoverageState.NOT_THERE
        state = CoverageState.NOT_PERMITTED if lacks_rights else broke_off
    return Coverage(
        bus="modules",
        state=state,
        nodes=count,
        why=why,
        root_would_help=lacks_rights,
        unread=len(refused),
        unread_names=refused_names(refused),
    )

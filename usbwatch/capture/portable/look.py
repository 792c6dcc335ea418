"""One look through libusb and psutil: what the system lists, and plain words on all that it does not show.

A device that fails to enumerate is not in the list, and neither is a port: so
of a place this look can say "enumerated" or "not in the list", and no more.
Whatever sits on another bus is not observable, which is never "missing".
"""

from __future__ import annotations

import sys
from typing import Any, Dict, List, Mapping, Optional, Tuple

from usbwatch import __version__
from usbwatch.capture import usb
from usbwatch.capture.assemble import assembled
from usbwatch.capture.identity import virtual
from usbwatch.capture.live import LiveTree
from usbwatch.capture.look import BUSES
from usbwatch.capture.place import Places
from usbwatch.capture.portable.charge import BatterySource, psutil_battery, supply
from usbwatch.capture.portable.library import check_installed, libusb
from usbwatch.capture.portable.listing import BACKEND_FAULTS, listing
from usbwatch.capture.portable.nodes import usb_nodes
from usbwatch.capture.portable.words import NOT_OBSERVABLE, SOURCE
from usbwatch.capture.sight import Sight
from usbwatch.model import Capture, Coverage, CoverageState, Node, System, UnitStrings

__all__ = ["take_portable"]


def take_portable(
    *,
    taken_at: str,
    platform: Optional[str] = None,
    backend: Any = None,  # noqa: ANN401 - pyusb has no types
    battery: Optional[BatterySource] = None,
    privileged: bool = False,
) -> Capture:
    """A capture of this machine through libusb and psutil.

    ``taken_at`` is RFC 3339 in UTC. ``backend`` is a pyusb ``IBackend`` and
    ``battery`` a function like psutil's ``sensors_battery``; without them the
    bundled libusb and psutil are used, and ``NoLibrary`` is raised when they
    are not installed. Raises nothing for anything that a device says.
    """
    from platform import release

    where = platform or sys.platform
    read_battery = battery or psutil_battery()
    nodes, usb_coverage = _usb(backend, {}) if backend is not None else _usb_of_this_machine(where)
    supplies, supply_coverage = supply(read_battery)
    return Capture(
        taken_at=taken_at,
        tool=__version__,
        system=System(
            platform=_PLATFORMS.get(where, where),
            kernel=release(),
            source=SOURCE,
            privileged=privileged,
            virtual=virtual(Sight(LiveTree())) if where == "linux" and backend is None else "",
        ),
        unit=UnitStrings(),
        coverage=tuple(_coverage(usb_coverage, supply_coverage)),
        nodes=assembled([*nodes, *supplies]),
    )


_NOT_LOADED = "libusb did not load, or did not start on this system"

_PLATFORMS = {"darwin": "macos", "win32": "windows", "cygwin": "windows"}
"""``sys.platform`` in the word that a capture has for it."""


def _root_hubs(platform: str) -> Tuple[Dict[int, str], str]:
    """Location of each bus number's root hub, and why libusb must not be asked.

    Linux alone has both: there libusb numbers buses as the kernel does, and
    without sysfs it would open each device's node, which wakes what sleeps.
    """
    if platform != "linux":
        return {}, ""
    places = Places(sight := Sight(LiveTree()))
    try:
        for name, folder in sight.devices(usb.FOLDER):
            if name.startswith("usb"):
                places.of(folder)
    except OSError:
        return {}, f"this kernel has no /{usb.FOLDER}"
    return {int(bus): place for bus, place in places.root_hubs.items() if bus.isdigit()}, ""


def _usb_of_this_machine(platform: str) -> Tuple[List[Node], Coverage]:
    check_installed()
    root_hubs, unlistable = _root_hubs(platform)
    if unlistable:
        return [], Coverage(bus="usb", state=CoverageState.NOT_THERE, why=unlistable)
    backend = libusb()
    return _usb(backend, root_hubs) if backend is not None else _failed(_NOT_LOADED)


def _usb(backend: Any, root_hubs: Mapping[int, str]) -> Tuple[List[Node], Coverage]:  # noqa: ANN401 - as above
    """The nodes of USB; a list that is empty or has gaps proves nothing about what is not in it."""
    try:
        found = listing(backend)
    except BACKEND_FAULTS as error:
        return _failed(f"libusb could not list devices ({error.strerror if isinstance(error, OSError) else error})")
    nodes = usb_nodes(found.devices, root_hubs)
    if found.unread:
        state, why = CoverageState.FAILED, f"{found.unread} listed devices could not be read"
    elif nodes:
        state, why = CoverageState.OK, "enumerated devices only: no ports, no drivers, no names"
    else:
        state, why = CoverageState.FAILED, "libusb's list is empty, which says nothing about the hardware"
    return nodes, Coverage(bus="usb", state=state, nodes=len(nodes), why=why, unread=found.unread)


def _failed(why: str) -> Tuple[List[Node], Coverage]:
    return [], Coverage(bus="usb", state=CoverageState.FAILED, why=why)


def _coverage(*seen: Coverage) -> List[Coverage]:
    """Every bus that a capture of sysfs looks at, in the same order."""
    by_bus = {one.bus: one for one in seen}
    names = ["dmi", *(bus for bus, _, _ in BUSES), "log"]
    return [by_bus.get(bus) or Coverage(bus=bus, state=CoverageState.NOT_THERE, why=NOT_OBSERVABLE) for bus in names]

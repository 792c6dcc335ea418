"""One look at a unit: every bus read in turn, its coverage stated, the nodes put together."""

from __future__ import annotations

import errno
from dataclasses import replace
from typing import Callable, Iterator, List, Optional, Tuple

from usbwatch import __version__
from usbwatch.capture import (
    acpi,
    cooling,
    drm,
    garbage,
    hid,
    i2c,
    identity,
    iio,
    media,
    mmc,
    pci,
    power_supply,
    serio,
    smbios_table,
    soundwire,
    storage,
    thunderbolt,
    typec,
    usb,
)
from usbwatch.capture.assemble import assembled
from usbwatch.capture.log import Survey, surveyed
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, named, refused_names
from usbwatch.capture.software import software
from usbwatch.capture.tree import Tree
from usbwatch.capture.unread import UnreadThere
from usbwatch.model import Capture, Coverage, CoverageState, Node

__all__ = ["BUSES", "take"]

_Reader = Callable[[Sight, Places], Iterator[Node]]

BUSES: Tuple[Tuple[str, str, _Reader], ...] = (
    ("smbios", smbios_table.FOLDER, smbios_table.nodes),
    ("acpi", acpi.FOLDER, acpi.nodes),
    ("pci", pci.FOLDER, pci.nodes),
    ("usb", usb.FOLDER, usb.nodes),
    ("serio", serio.FOLDER, serio.nodes),
    ("i2c", i2c.I2C_FOLDER, i2c.i2c_nodes),
    ("spi", i2c.SPI_FOLDER, i2c.spi_nodes),
    ("hid", hid.HID_FOLDER, hid.hid_nodes),
    ("input", hid.INPUT_FOLDER, hid.input_nodes),
    ("power_supply", power_supply.FOLDER, power_supply.nodes),
    ("drm", drm.FOLDER, drm.nodes),
    ("nvme", storage.NVME_FOLDER, storage.nvme_nodes),
    ("mmc", mmc.FOLDER, mmc.nodes),
    ("block", storage.BLOCK_FOLDER, storage.block_nodes),
    ("hdaudio", media.HDAUDIO_FOLDER, media.hdaudio_nodes),
    ("soundwire", soundwire.FOLDER, soundwire.nodes),
    ("sound", media.SOUND_FOLDER, media.sound_nodes),
    ("video", media.VIDEO_FOLDER, media.video_nodes),
    ("net", media.NET_FOLDER, media.net_nodes),
    ("bluetooth", media.BLUETOOTH_FOLDER, media.bluetooth_nodes),
    ("rfkill", media.RFKILL_FOLDER, media.rfkill_nodes),
    ("typec", typec.FOLDER, typec.nodes),
    ("thunderbolt", thunderbolt.FOLDER, thunderbolt.nodes),
    ("iio", iio.FOLDER, iio.nodes),
    ("hwmon", cooling.HWMON_FOLDER, cooling.hwmon_nodes),
    ("thermal", cooling.THERMAL_FOLDER, cooling.thermal_nodes),
    ("backlight", cooling.BACKLIGHT_FOLDER, cooling.backlight_nodes),
)
"""Every bus or class that is read: our name for it, where it stands, its reader."""

_REFUSED = frozenset({errno.EACCES, errno.EPERM})
_FOR_ROOT_ALONE = frozenset({"smbios"})
"""What the kernel makes readable for root alone, so that a copy made without root's rights cannot hold it."""


def take(tree: Tree, *, taken_at: str, log: Optional[str] = None, privileged: bool = False) -> Capture:
    """A capture of what ``tree`` shows.

    ``taken_at`` is RFC 3339 in UTC, or "" when not known. ``log`` is the
    kernel's log as text; None when it was not to be had. Raises nothing for
    anything that the tree holds.
    """
    with garbage.unsearched():
        return _taken(tree, taken_at, log, privileged)


def _taken(tree: Tree, taken_at: str, log: Optional[str], privileged: bool) -> Capture:
    sight = Sight(tree)
    places = Places(sight)
    unit, dmi_coverage = identity.dmi(sight)
    coverage: List[Coverage] = [dmi_coverage]
    found: List[Node] = []
    for bus, folder, reader in BUSES:
        nodes, state = _bus(sight, places, bus, folder, reader)
        found.extend(nodes)
        coverage.append(state)
    told = surveyed(log, places.root_hubs) if log is not None else None
    coverage.append(_log_coverage(log, told, sight))
    system = identity.system(sight, privileged=privileged)
    switched, modules_coverage = software(sight, places, system.kernel)
    coverage.append(modules_coverage)
    return Capture(
        taken_at=taken_at,
        tool=__version__,
        system=system,
        unit=unit,
        coverage=tuple(coverage),
        nodes=assembled(found),
        episodes=told.episodes if told is not None else (),
        software=switched,
    )


def _bus(sight: Sight, places: Places, bus: str, folder: str, reader: _Reader) -> Tuple[List[Node], Coverage]:
    """The nodes of one bus, and what can be said of the looking."""
    before, lost = len(sight.refused), sight.lost
    try:
        nodes = list(_counting_unread(sight, reader(sight, places)))
    except OSError as error:
        return [], _unseen(bus, folder, sight.tree.source, error)
    unread = len(sight.refused) - before
    placed = [node for node in nodes if node.location]
    state = CoverageState.OK if placed else CoverageState.EMPTY
    why = f"{unread} files could not be read" if unread else ""
    if len(placed) < len(nodes):
        state, why = CoverageState.FAILED, f"entries of /{folder} are no links: the tree was copied without its links"
    elif sight.lost > lost and sight.tree.source == "tree":
        # On a live machine a device may leave between the listing and the look; a copy does not change.
        state, why = CoverageState.FAILED, f"{sight.lost - lost} devices are named whose folders were not copied"
    return placed, Coverage(
        bus=bus,
        state=state,
        nodes=len(placed),
        why=why,
        root_would_help=any(refusal in _REFUSED for _, refusal in sight.refused[before:]),
        unread=unread,
        unread_names=refused_names(sight.refused[before:]),
        drivers=_drivers(sight, folder),
    )


def _counting_unread(sight: Sight, nodes: Iterator[Node]) -> Iterator[Node]:
    """The nodes, each with the number of its files that were refused: what those would say is not known."""
    before = len(sight.refused)
    for node in nodes:
        refused, before = len(sight.refused) - before, len(sight.refused)
        yield replace(node, facts={**node.facts, "unread_files": refused}) if refused else node


def _drivers(sight: Sight, folder: str) -> Tuple[str, ...]:
    if not folder.startswith("sys/bus/"):
        return ()
    return tuple(named(name) for name in sight.names(folder.replace("/devices", "/drivers")))


def _unseen(bus: str, folder: str, source: str, error: OSError) -> Coverage:
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        holder = "this kernel" if source == "live" else "the copied tree"
        why = f"{holder} has no /{folder.replace('/devices', '')}"
        return Coverage(bus=bus, state=CoverageState.NOT_THERE, why=why)
    if error.errno in _REFUSED:
        for_root = bus in _FOR_ROOT_ALONE
        why = f"{folder} may not be read" + ("; the kernel keeps it for root alone" if for_root else "")
        helps = for_root or source == "live" or isinstance(error, UnreadThere)
        return Coverage(bus=bus, state=CoverageState.NOT_PERMITTED, why=why, root_would_help=helps)
    name = errno.errorcode.get(error.errno or 0, "unknown error")
    return Coverage(bus=bus, state=CoverageState.FAILED, why=f"reading {folder} failed with {name}")


_LACKING = "failures to enumerate leave a trace only there"
_LOG_PLACES = ("meta/dmesg.txt", "dev/kmsg")
"""What a manifest may call the log: by its place in the copy, or on the unit."""
_LOG_DEVICE = "sys/class/mem/kmsg"
"""The kernel's own entry of ``/dev/kmsg``: there whenever the kernel keeps a log at all (drivers/char/mem.c)."""


def _log_coverage(log: Optional[str], told: Optional[Survey], sight: Sight) -> Coverage:
    """What can be said of the kernel's log: whole, cut, no log at all, refused, or none to be had."""
    if log is None or told is None:
        return _without_log(sight)
    if not told.lines:
        # A kernel always says something as it starts, so a log without a line was not kept, or not handed over.
        what = "it is empty" if not log.strip() else "what was given as the kernel's log holds no line of one"
        return Coverage(bus="log", state=CoverageState.FAILED, why=f"{what}; {_LACKING}")
    if told.lost:
        # A line that is not in a log with lost lines may have been there, so its absence means nothing.
        why = f"the kernel's log is incomplete: {told.lost}"
        return Coverage(bus="log", state=CoverageState.FAILED, nodes=told.lines, why=why)
    return Coverage(bus="log", state=CoverageState.OK, nodes=told.lines)


def _without_log(sight: Sight) -> Coverage:
    if sight.tree.source != "live":
        return _without_copied_log(sight)
    if "kmsg" not in sight.names(_LOG_DEVICE.rpartition("/")[0]):
        return Coverage(bus="log", state=CoverageState.NOT_THERE, why=f"this kernel keeps no log; {_LACKING}")
    return _log_not_permitted()


def _without_copied_log(sight: Sight) -> Coverage:
    """Whether the copy has no log because the unit's collector was refused it, by its manifest, or for no reason."""
    for path in _LOG_PLACES:
        try:
            sight.tree.read(path, 1)
        except OSError as error:
            if isinstance(error, UnreadThere) and error.errno in _REFUSED:
                return _log_not_permitted()
    return Coverage(bus="log", state=CoverageState.NOT_THERE, why=f"the copied tree has no log; {_LACKING}")


def _log_not_permitted() -> Coverage:
    why = f"the kernel's log may not be read; {_LACKING}"
    return Coverage(bus="log", state=CoverageState.NOT_PERMITTED, why=why, root_would_help=True)

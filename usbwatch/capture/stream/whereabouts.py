"""Which device a folder of sysfs is, by bus and location, so that a folder that has gone is still known.

Of a device that has just arrived only what needs no answer from it is read:
while a driver is being tried on a device, the kernel holds its strings back
(drivers/usb/core/sysfs.c).
"""

from __future__ import annotations

import os
import re
from dataclasses import replace
from typing import Dict, Iterator, Mapping, Optional, Tuple

from usbwatch.capture.live import LiveTree
from usbwatch.capture.look import BUSES as READERS
from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight, named, printable
from usbwatch.capture.stream.entries import BUSES, Entry
from usbwatch.capture.stream.news import Seen
from usbwatch.capture.tree import Tree
from usbwatch.capture.usb import speed_kbps
from usbwatch.model import Capture, Kind

__all__ = ["NAME_PATIENCE_S", "Whereabouts"]

NAME_PATIENCE_S = 0.05
"""How long is waited for a name that the kernel holds back, before the arrival is told without it."""

_KEPT = 32
"""Folders that are remembered of one place before those that have gone are looked for."""

_USB_DEVICE = re.compile(r"(\d+)-([\d.]+)\Z")
_USB_PORT = re.compile(r"(?:usb(\d+)|(\d+)-([\d.]+))-port(\d+)\Z")
_PRODUCT = re.compile(r"([0-9a-f]{1,4})/([0-9a-f]{1,4})/[0-9a-f]{1,4}\Z")
_FOLDERS = {one.bus: one.folder for one in BUSES}
_READERS = {bus: reader for bus, _, reader in READERS}


class _OneEntry(Sight):
    """A sight in which a bus has one device alone, so that its reader reads no other."""

    def __init__(self, tree: Tree, folder: str, name: str, real: str) -> None:
        super().__init__(tree)
        self._only = (folder, name, real)

    def devices(self, folder: str) -> Iterator[Tuple[str, str]]:
        """The one device where its bus is asked for."""
        bus_folder, name, real = self._only
        if folder == bus_folder:
            yield name, real


class Whereabouts:
    """Devices by folder, as far as they have been seen; ``capture`` lends the names of what was there before."""

    def __init__(self, tree: Tree, capture: Capture) -> None:
        self._tree = tree
        self._names = {(node.bus, node.location): (node.identity, node.name) for node in capture.nodes}
        self._by_folder: Dict[str, Tuple[str, str]] = {}
        self._beside: Dict[Tuple[str, str], Dict[str, None]] = {}
        """By bus and location without number: the folders of what was seen there, the latest last."""
        self.root_hubs: Mapping[str, str] = {}
        """Location of each USB bus number."""
        self.find_root_hubs()

    def find_root_hubs(self) -> None:
        """Find out again which root hub has which number: a controller may have come or gone."""
        sight = Sight(self._tree)
        places = Places(sight)
        for name in sight.names(_FOLDERS["usb"]):
            if name.startswith("usb"):
                places.of(sight.real(f"{_FOLDERS['usb']}/{name}"))
        self.root_hubs = dict(places.root_hubs)

    def known(self, folder: str) -> Optional[Tuple[str, str]]:
        """Bus and location of the device in a folder, although it may have gone; None for one never seen."""
        return self._by_folder.get(folder)

    def folder(self, entry: Entry) -> str:
        """The real folder of an entry, "" when it has gone or is made by a program."""
        path = f"{_FOLDERS[entry.bus]}/{entry.name}"
        real = Sight(self._tree).real(path)
        return "" if real == path or real.startswith("sys/devices/virtual/") else real

    def number(self, entry: Entry) -> int:
        """The inode number of an entry, 0 when it has gone."""
        try:
            return os.lstat(f"/{_FOLDERS[entry.bus]}/{entry.name}").st_ino
        except OSError:
            return 0

    def seen(
        self, entry: Entry, folder: str, number: int, product: str = "", *, ask_name: bool = True
    ) -> Optional[Seen]:
        """The device in a folder; None where it is no device that can be expected, or has gone unseen.

        ``product`` is the kernel's word for a USB device's identity, where it has told it.
        """
        if entry.bus == "usb":
            found = self._usb(entry, folder, number, product, ask_name=ask_name)
        else:
            found = self._by_reader(entry, folder, number)
            found = self._distinct(folder, found) if found is not None else None
        if found is not None:
            self._remember(folder, found)
        return found

    def _remember(self, folder: str, seen: Seen) -> None:
        """Note which device a folder is, and let go of folders that went long ago.

        A folder's name may hold a number that runs on (``host7``), so that a device that comes and goes has a new one
        each time. Of what has left the latest are kept, as the kernel may still have to tell that they left.
        """
        self._by_folder[folder] = (seen.bus, seen.location)
        beside = self._beside.setdefault((seen.bus, seen.location.partition("#")[0]), {})
        beside.pop(folder, None)
        beside[folder] = None
        if len(beside) > _KEPT:
            gone = [other for other in beside if not self._is_there(other)]
            for other in gone[: len(beside) - _KEPT // 2]:
                if other != folder:
                    del beside[other]
                    self._by_folder.pop(other, None)

    def _usb(self, entry: Entry, folder: str, number: int, product: str, *, ask_name: bool) -> Optional[Seen]:
        location = self.usb_location(entry.name)
        if not location:
            return None
        identity = _identity(product) or self._usb_identity(folder)
        known_identity, name = self._names.get(("usb", location), ("", ""))
        if identity != known_identity:
            name = self._name(folder) if ask_name else ""
        return Seen(
            bus="usb",
            location=location,
            name=name,
            identity=identity,
            speed_kbps=speed_kbps(self._text(folder, "speed")) or 0,
            entry=number,
        )

    def usb_location(self, name: str) -> str:
        """Location of a USB device, or of what would sit at a USB port, by the kernel's name; "" for any other."""
        device, port = _USB_DEVICE.match(name), _USB_PORT.match(name)
        if device:
            bus, chain = device.groups()
        elif port:
            bus = port.group(1) or port.group(2)
            chain = f"{port.group(3)}.{port.group(4)}" if port.group(3) else port.group(4)
        else:
            return ""
        root = self.root_hubs.get(bus, "")
        return f"{root}/{chain}" if root else ""

    def _usb_identity(self, folder: str) -> str:
        vendor, product = self._text(folder, "idVendor"), self._text(folder, "idProduct")
        return f"{vendor}:{product}" if vendor and product else ""

    def _name(self, folder: str) -> str:
        try:
            # A tree of its own: one that has waited in vain for a folder does not ask there again.
            return printable(LiveTree(NAME_PATIENCE_S).read(f"{folder}/product")).strip()
        except OSError:
            return ""

    def _text(self, folder: str, name: str) -> str:
        try:
            return printable(self._tree.read(f"{folder}/{name}")).strip()
        except OSError:
            return ""

    def _by_reader(self, entry: Entry, folder: str, number: int) -> Optional[Seen]:
        sight = _OneEntry(self._tree, _FOLDERS[entry.bus], entry.name, folder)
        try:
            nodes = list(_READERS[entry.bus](sight, Places(sight)))
        except OSError:
            return None
        for node in nodes:
            if node.kind is Kind.DEVICE and node.location:
                name = named(node.name)
                return Seen(bus=node.bus, location=node.location, name=name, identity=node.identity, entry=number)
        return None

    def _distinct(self, folder: str, seen: Seen) -> Seen:
        """The device under the location that its folder had before; a second one at one place gets a number.

        A folder that has gone holds no place: the same device may come back under another name.
        """
        known = self._by_folder.get(folder)
        if known is not None and known[1].partition("#")[0] == seen.location:
            return replace(seen, location=known[1])
        others = self._beside.get((seen.bus, seen.location), ())
        beside = [self._by_folder[other][1] for other in others if other != folder and self._is_there(other)]
        numbered = (seen.location, *(f"{seen.location}#{number}" for number in range(2, len(beside) + 3)))
        return replace(seen, location=next(place for place in numbered if place not in beside))

    def _is_there(self, folder: str) -> bool:
        try:
            return bool(self._tree.list(folder))
        except OSError:
            return False


def _identity(product: str) -> str:
    """``1209:0001`` of the kernel's ``1209/1/100`` (``usb_uevent`` in drivers/usb/core/driver.c), "" of any other."""
    shape = _PRODUCT.match(product)
    return f"{int(shape.group(1), 16):04x}:{int(shape.group(2), 16):04x}" if shape else ""

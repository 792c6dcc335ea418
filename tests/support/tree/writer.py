"""A sysfs tree written by the kernel's own rules of naming and linking.

Documentation/admin-guide/sysfs-rules.rst and drivers/base/core.c: a device is
a folder with a ``subsystem`` link; its bus (or class) has a link back under
the device's name; its driver is a link, and the driver's folder links back;
a class device sits in a folder named for its class unless its parent is a
class device itself. All links are relative.
"""

from __future__ import annotations

import os
import posixpath
from functools import cache
from pathlib import Path

__all__ = ["Writer"]

Text = str | int | bytes

_BIND_FILES = {"usb": ("new_id", "remove_id"), "pci": ("new_id", "remove_id")}

_ANEW = os.O_WRONLY | os.O_CREAT | os.O_TRUNC


@cache
def _from(folder: str, target: str) -> str:
    """The relative way, both below the root."""
    return posixpath.relpath(target, folder)


class Writer:
    """Writes below one root; paths are relative to it (``sys/devices/…``).

    By plain calls of the system: a tree is thousands of files, and making a ``Path`` of each took longer than writing.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self._top = str(root)
        self._counters: dict[str, int] = {}

    def number(self, counter: str, first: int = 0) -> int:
        """The next number that the kernel would give out: inputs, HID devices, video nodes, …"""
        value = self._counters.get(counter, first)
        self._counters[counter] = value + 1
        return value

    def file(self, path: str, content: Text) -> None:
        """A file with exactly ``content``, its folder made where it is not there."""
        full = f"{self._top}/{path}"
        try:
            file = os.open(full, _ANEW, 0o666)
        except FileNotFoundError:
            self.folder(posixpath.dirname(path))
            file = os.open(full, _ANEW, 0o666)
        try:
            os.write(file, content if isinstance(content, bytes) else str(content).encode())
        finally:
            os.close(file)

    def attributes(self, folder: str, **values: Text) -> None:
        """One attribute file each; text gets the newline that sysfs prints, bytes stay as they are."""
        for name, value in values.items():
            self.file(f"{folder}/{name}", value if isinstance(value, bytes) else f"{value}\n")

    def link(self, path: str, target: str) -> None:
        """A relative link at ``path`` to ``target``, both below the root.

        As the kernel makes it (fs/kernfs/symlink.c): the target's own name is
        always in it, also when the target is a folder that the link lies in.
        """
        folder, (above, name) = posixpath.dirname(path), posixpath.split(target)
        leads = posixpath.join(_from(folder, above), name)
        try:
            os.symlink(leads, f"{self._top}/{path}")  # noqa: PTH211
        except FileNotFoundError:
            self.folder(folder)
            os.symlink(leads, f"{self._top}/{path}")  # noqa: PTH211

    def folder(self, path: str) -> None:
        """An empty folder."""
        os.makedirs(f"{self._top}/{path}", exist_ok=True)  # noqa: PTH103

    def bus(self, name: str, *drivers: str) -> None:
        """A bus that the kernel has, with drivers that nothing may be bound to."""
        self.folder(f"sys/bus/{name}/devices")
        self.folder(f"sys/bus/{name}/drivers")
        self.attributes(f"sys/bus/{name}", drivers_autoprobe="1")
        for driver in drivers:
            self.folder(f"sys/bus/{name}/drivers/{driver}")
            for file in _BIND_FILES.get(name, ()):
                self.file(f"sys/bus/{name}/drivers/{driver}/{file}", b"")

    def classes(self, *names: str) -> None:
        """Classes that the kernel has, whether or not anything is in them."""
        for name in names:
            self.folder(f"sys/class/{name}")

    def bus_device(self, folder: str, bus: str, *, driver: str = "", uevent: str = "", **attributes: Text) -> None:
        """A device of a bus."""
        name = posixpath.basename(folder)
        self._device(folder, f"sys/bus/{bus}", driver, uevent, attributes)
        self.link(f"sys/bus/{bus}/devices/{name}", folder)
        if driver:
            self.link(f"{folder}/driver", f"sys/bus/{bus}/drivers/{driver}")
            self.link(f"sys/bus/{bus}/drivers/{driver}/{name}", folder)

    def class_device(self, folder: str, cls: str, parent: str, *, uevent: str = "", **attributes: Text) -> None:
        """A device of a class; ``parent`` is what its ``device`` link leads to, "" for none."""
        self._device(folder, f"sys/class/{cls}", "", uevent, attributes)
        self.link(f"sys/class/{cls}/{posixpath.basename(folder)}", folder)
        if parent:
            self.link(f"{folder}/device", parent)

    def _device(self, folder: str, subsystem: str, driver: str, uevent: str, attributes: dict[str, Text]) -> None:
        self.attributes(folder, **attributes)
        self.link(f"{folder}/subsystem", subsystem)
        told = f"DRIVER={driver}\n" if driver and "DRIVER=" not in uevent else ""
        self.file(f"{folder}/uevent", told + uevent)
        self.attributes(
            f"{folder}/power", control="auto", runtime_enabled="disabled", runtime_status="unsupported", runtime_usage=0
        )

    def private(self, path: str) -> None:
        """Make a file readable by its owner alone, as the kernel does with serial numbers."""
        os.chmod(self.root / path, 0o400)  # noqa: PTH101 - one call, no Path needed

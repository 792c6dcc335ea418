"""The kernel's own events, as libudev's monitor receives them.

The monitor listens to the kernel itself (source ``kernel``), so it needs no
daemon, and no rights. Each event has a number of its own, ``SEQNUM``; the
latest one given stands in ``/sys/kernel/uevent_seqnum``
(Documentation/ABI/testing/sysfs-kernel-uevents: lib/kobject_uevent.c).
"""

from __future__ import annotations

import contextlib
import errno
from dataclasses import dataclass
from typing import Any, List, Mapping, Tuple

__all__ = ["NoMonitor", "Uevent", "Uevents"]

_BUFFER_BYTES = 8 * 1024 * 1024
"""Room for events that nobody has read yet; more than the system's limit takes a right that root has."""
_KEYS = ("DEVTYPE", "DRIVER", "PRODUCT", "SEQNUM", "HOTPLUG", "OVER_CURRENT_PORT")
_AT_ONCE = 4096


class NoMonitor(Exception):
    """There is no monitor to be had; says why, as one phrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Uevent:
    """One event of the kernel."""

    action: str
    """``add``, ``remove``, ``change``, ``bind``, ``unbind``, …"""
    subsystem: str
    folder: str
    """``sys/devices/…``"""
    keys: Mapping[str, str]
    """Of its variables those that are of use here, by the kernel's name."""

    @property
    def name(self) -> str:
        """The device's own name: the last element of its folder."""
        return self.folder.rpartition("/")[2]

    @property
    def number(self) -> int:
        """``SEQNUM``, 0 where it is not told."""
        text = self.keys.get("SEQNUM", "")
        return int(text) if text.isdigit() else 0


class Uevents:
    """A monitor that listens from now on. Raises ``NoMonitor``."""

    def __init__(self) -> None:
        try:
            import pyudev
        except ImportError:
            raise NoMonitor("the package pyudev is not installed") from None
        try:
            self._monitor: Any = pyudev.Monitor.from_netlink(pyudev.Context(), source="kernel")
        except (ImportError, OSError) as error:  # ImportError: pyudev looks for libudev only now
            raise NoMonitor(f"libudev gives no monitor ({error})") from None
        with contextlib.suppress(OSError):  # the system's own size has to do
            self._monitor.set_receive_buffer_size(_BUFFER_BYTES)
        try:
            self._monitor.start()
        except OSError as error:
            raise NoMonitor(f"the kernel gives no events ({error.strerror or error})") from None

    def fileno(self) -> int:
        """The descriptor to poll."""
        return int(self._monitor.fileno())

    def read(self) -> Tuple[List[Uevent], bool]:
        """The events that came, and whether the kernel says that it dropped some."""
        events: List[Uevent] = []
        dropped = False
        while len(events) < _AT_ONCE:
            try:
                device = self._monitor.poll(timeout=0)
            except OSError as error:
                if error.errno != errno.ENOBUFS:
                    break
                dropped = True
                continue
            if device is None:
                break
            events.append(_event(device))
        return events, dropped


def _event(device: Any) -> Uevent:  # noqa: ANN401 - pyudev has no annotations
    properties = device.properties
    return Uevent(
        action=str(device.action or ""),
        subsystem=str(device.subsystem or ""),
        folder=str(device.sys_path).lstrip("/"),
        keys={key: str(properties[key]) for key in _KEYS if key in properties},
    )

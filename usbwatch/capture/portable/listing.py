"""What libusb lists, taken over whole: one record a device, with its place in the tree of hubs.

Only what libusb holds is asked for. Two quirks are known to be met
(libusb's ``os/darwin_usb.c`` and ``os/windows_winusb.c``): root hubs may be
made up or not listed at all, and a device may say port 0, which stands for
"not told"; libusb's own chain ends there, so the chain is walked here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Iterator, List, Optional, Tuple

from usbwatch.capture.portable.library import active_configuration
from usbwatch.capture.portable.rebuilt import ListedDescriptors, configuration_bytes, device_bytes

__all__ = ["BACKEND_FAULTS", "UNTOLD_PORT", "Listed", "Listing", "listing"]

BACKEND_FAULTS = (OSError, ValueError, NotImplementedError)
"""What pyusb raises: ``USBError`` is an ``OSError``, ``NoBackendError`` a ``ValueError``; "not supported" the third."""

UNTOLD_PORT = 0
"""libusb.h, ``libusb_get_port_number``: 0 if not available."""

_DEEPEST = 16
"""Hubs on the way to a device at most; USB 2.0 section 4.1.1 allows seven tiers."""

_HUB = 0x09


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One device as libusb lists it."""

    bus: int
    """libusb's own number: it tells root hubs apart, and is never part of a location."""
    chain: Tuple[int, ...]
    """Port numbers from the root hub on; empty for a root hub."""
    speed: int
    """``enum libusb_speed``; 0 when not told."""
    device: bytes
    """The device descriptor."""
    configurations: Tuple[bytes, ...]
    unread: int
    """How many configurations libusb would not give."""
    active: Optional[int]
    """bConfigurationValue of the one that is in use; 0 for none, None when not told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Everything that libusb lists."""

    devices: Tuple[Listed, ...]
    unread: int = 0
    """How many entries could not be read at all."""


def listing(backend: Any) -> Listing:  # noqa: ANN401 - pyusb has no types
    """All devices that libusb lists. Raises one of ``BACKEND_FAULTS`` when it cannot list."""
    found: List[Listed] = []
    unread = 0
    # A device's parent is only to be had while the list is held (libusb.h), so each is dealt with in turn.
    for handle in backend.enumerate_devices():
        try:
            found.append(_listed(backend, handle))
        except BACKEND_FAULTS:
            unread += 1
    return Listing(devices=tuple(found), unread=unread)


def _listed(backend: Any, handle: Any) -> Listed:  # noqa: ANN401 - pyusb has no types
    descriptors = ListedDescriptors(backend, handle)
    device = descriptors.device()
    configurations = [_configuration(descriptors, index) for index in range(device.bNumConfigurations)]
    return Listed(
        bus=device.bus,
        chain=_chain(backend, handle, device),
        speed=device.speed or 0,
        device=device_bytes(device),
        configurations=tuple(one for one in configurations if one is not None),
        unread=sum(one is None for one in configurations),
        active=active_configuration(backend, handle),
    )


def _configuration(descriptors: ListedDescriptors, index: int) -> Optional[bytes]:
    try:
        return configuration_bytes(descriptors, index)
    except BACKEND_FAULTS:
        return None


def _chain(backend: Any, handle: Any, device: Any) -> Tuple[int, ...]:  # noqa: ANN401 - pyusb has no types
    """Ports on the way from the root hub; where the parents do not lead to one, what libusb makes of it."""
    ports = list(_ports_inward(backend, handle, device))
    walked = tuple(reversed(ports))
    told = tuple(device.port_numbers or ())
    return walked if len(walked) >= len(told) else told


def _ports_inward(backend: Any, handle: Any, device: Any) -> Iterator[int]:  # noqa: ANN401 - pyusb has no types
    """The port of the device and of each hub that it hangs on, nearest first, the root hub left out."""
    for _ in range(_DEEPEST):
        parent = backend.get_parent(handle)
        port = device.port_number or UNTOLD_PORT
        if parent is None and port == UNTOLD_PORT and device.bDeviceClass == _HUB:
            return
        yield port
        if parent is None:
            return
        handle, device = parent, backend.get_device_descriptor(parent)

"""The kernel's log as far as it tells of devices that never became nodes.

Lines are those of drivers/usb/core/hub.c (kernels 6.1 and 6.12 agree on
them). A device that fails to enumerate leaves no node at all, so the log is
the only witness. One trouble can burn four device numbers and a dozen lines;
it is counted once, by place. No line is read out of its place: a line counts
only when the whole of it has the kernel's shape, and ``compare`` never holds
a line against a device that is there.
"""

from __future__ import annotations

import re
from typing import Dict, List, Mapping, Optional, Tuple

from usbwatch.model import Episode

__all__ = ["ENUMERATION_FAILED", "OVER_CURRENT", "episodes"]

ENUMERATION_FAILED = "enumeration failed"
OVER_CURRENT = "over-current"

_STAMP = re.compile(r"(?:<\d+>)?\[ *\d+\.\d+\](?:\[ *[TC]\d+\])? ")
_DEVICE = re.compile(r"usb (\d+)-([\d.]+): (.+)\Z")
_PORT = re.compile(r"usb (?:usb(\d+)|(\d+)-([\d.]+))-port(\d+): (.+)\Z")

_TROUBLES: Tuple[Tuple["re.Pattern[str]", str], ...] = (
    (re.compile(r"device descriptor read/(?:64|8|all), error (-\d{1,4})\Z"), ENUMERATION_FAILED),
    (re.compile(r"device not accepting address \d+, error (-\d{1,4})\Z"), ENUMERATION_FAILED),
    (re.compile(r"unable to read config index \d+ descriptor/\w+: (-\d{1,4})\Z"), ENUMERATION_FAILED),
    (re.compile(r"can't read configurations, error (-\d{1,4})\Z"), ENUMERATION_FAILED),
    (re.compile(r"unable to enumerate USB device()\Z"), ENUMERATION_FAILED),
    (re.compile(r"Cannot enable\. Maybe the USB cable is bad\?()\Z"), ENUMERATION_FAILED),
    (re.compile(r"connect-debounce failed()\Z"), ENUMERATION_FAILED),
    (re.compile(r"over-current condition()\Z"), OVER_CURRENT),
)

_KEPT_LINES = 4
_LONGEST_LINE = 400


def episodes(log: str, root_hubs: Mapping[str, str]) -> Tuple[Episode, ...]:
    """Troubles by place, sorted.

    ``log`` is the text as ``dmesg`` prints it; ``root_hubs`` gives the
    location of each bus number of the same boot.
    """
    found: Dict[Tuple[str, str], List[Tuple[str, int]]] = {}
    for line in log.splitlines():
        stamp = _STAMP.match(line)
        if not stamp or len(line) > _LONGEST_LINE:
            continue
        told = _trouble(line[stamp.end() :], root_hubs)
        if told:
            location, trouble, errno = told
            found.setdefault((location, trouble), []).append((line, errno))
    return tuple(_episode(place, trouble, told) for (place, trouble), told in sorted(found.items()))


def _trouble(text: str, root_hubs: Mapping[str, str]) -> Optional[Tuple[str, str, int]]:
    """``(location, trouble, errno)`` of one line, None for a line that tells none."""
    device, port = _DEVICE.match(text), _PORT.match(text)
    if device:
        bus, chain, message = device.groups()
    elif port:
        root_bus, hub_bus, hub_chain, number, message = port.groups()
        bus, chain = root_bus or hub_bus, f"{hub_chain}.{number}" if hub_chain else number
    else:
        return None
    for pattern, trouble in _TROUBLES:
        shape = pattern.match(message)
        if shape:
            root = root_hubs.get(bus, "")
            return f"{root}/{chain}" if root else "", trouble, int(shape.group(1) or 0)
    return None


def _episode(location: str, trouble: str, told: List[Tuple[str, int]]) -> Episode:
    lines = [line for line, _ in told]
    errnos = [errno for _, errno in told if errno]
    half = _KEPT_LINES // 2
    kept = lines if len(lines) <= _KEPT_LINES else lines[:half] + lines[-half:]
    return Episode(
        location=location,
        trouble=trouble,
        count=len(lines),
        errno=errnos[-1] if errnos else 0,
        lines=tuple(kept),
    )

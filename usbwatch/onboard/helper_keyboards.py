"""Whether a keyboard is attached from outside. The unit's own may hang, or press by itself: its keys do not count.

The kernel merges all keyboards on one console, so what is asked is whether any helper keyboard is there at all.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection

__all__ = ["helper_keyboards"]

_LETTERS = frozenset({*range(16, 26), *range(30, 39), *range(44, 51)})
"""KEY_Q to KEY_M, the letters of linux/input-event-codes.h, which are in three rows."""
_LEAST_LETTERS = 20
_USB = re.compile(r"/usb\d+/")


def helper_keyboards(own: Collection[str], root: str = "") -> tuple[str, ...]:
    """Names of the input nodes of USB keyboards that are not the unit's own, sorted.

    ``own`` are the port chains of the unit's own USB devices (``4.1``), as far as they are known. A port's firmware
    says more surely whether it is a socket or wired (``removable``, Documentation/ABI/testing/sysfs-bus-usb).
    """
    folder = f"{root}/sys/class/input"
    try:
        names = sorted(name for name in os.listdir(folder) if name.startswith("input"))
    except OSError:
        return ()
    return tuple(name for name in names if _types(f"{folder}/{name}") and _is_outside(f"{folder}/{name}", own))


def _types(path: str) -> bool:
    """Whether it has the letters of a keyboard, not just a few keys."""
    words = _read(f"{path}/capabilities/key").split()
    try:
        values = [int(word, 16) for word in words]
    except ValueError:
        return False
    low = values[-1] if values else 0
    return bool(sum(low >> key & 1 for key in _LETTERS) >= _LEAST_LETTERS)


def _is_outside(path: str, own: Collection[str]) -> bool:
    real = os.path.realpath(path)
    if not _USB.search(real):
        return False
    devices = _above(real)
    told = [_read(f"{device}/removable") for device in devices]
    if "removable" in told:  # also where a hub between says that its own ports are fixed
        return True
    return "fixed" not in told and not any(os.path.basename(one).partition("-")[2] in own for one in devices)


def _above(path: str) -> list[str]:
    """The USB devices that an input node hangs on, the nearest first, without the root hub."""
    found = []
    while "/usb" in path:
        if re.fullmatch(r"\d+-\d+(\.\d+)*", os.path.basename(path)):
            found.append(path)
        path = os.path.dirname(path)
    return found


def _read(path: str) -> str:
    try:
        with open(path, encoding="ascii", errors="replace") as file:
            return file.read(4096).strip()
    except OSError:
        return ""

"""What this stick already holds of the unit: a step such as reseating a flex is done with the unit switched off.

So the look before the step is on the stick, and the look after it is of another start. Everything read here is
hostile: whatever is no capture of this unit is passed over.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from usbwatch.onboard.putting import FOLDER

if TYPE_CHECKING:
    from usbwatch.model import Capture
    from usbwatch.show import Seen
    from usbwatch.stick.notes import Notes

__all__ = ["Earlier", "earlier_looks"]

_MOST = 8
"""Captures of one unit that are read, the latest."""
_LARGEST = 8 * 1024 * 1024
"""Bytes of one: a unit's memory is not to be filled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """One look of an earlier start."""

    name: str
    """Of its capture on the stick."""
    seen: Seen
    notes: Notes | None


def earlier_looks(folder: str, capture: Capture) -> tuple[Earlier, ...]:
    """The captures of this very unit in the stick's folder, oldest first. A unit without a serial number has none."""
    from usbwatch.capture.naming import slug
    from usbwatch.compare.serials import is_serial
    from usbwatch.stick.notes import oldest_first

    serial = capture.unit.product_serial.strip()
    if not is_serial(serial):
        return ()
    inside = os.path.join(folder, FOLDER)  # noqa: PTH118 - as the rooms that write it
    try:
        names = sorted(os.listdir(inside))  # noqa: PTH208
    except OSError:
        return ()
    stem = slug(capture.unit.product_name)
    ours = [name for name in names if name.startswith(f"{stem}-") and name.endswith(".json") and ".unit" not in name]
    read = (_read(inside, name, names, serial) for name in ours[-4 * _MOST :])
    by_name = {one.name: one for one in read if one is not None}
    told = {name: (one.seen.capture.taken_at, one.notes.after if one.notes else ()) for name, one in by_name.items()}
    return tuple(by_name[name] for name in oldest_first(told)[-_MOST:])


def _read(inside: str, name: str, names: list[str], serial: str) -> Earlier | None:
    from usbwatch.capture import load
    from usbwatch.cli.taking import local_time
    from usbwatch.errors import UsbwatchError
    from usbwatch.show import Seen

    path = os.path.join(inside, name)  # noqa: PTH118
    try:
        if os.path.getsize(path) > _LARGEST:  # noqa: PTH202
            return None
        capture = load(path)
    except (UsbwatchError, OSError):
        return None
    if capture.unit.product_serial.strip() != serial:
        return None
    notes = _notes(inside, name, names)
    seen = Seen(
        capture=capture,
        path=name,
        when=local_time(capture.taken_at),
        steps=notes.steps if notes else (),
        answers=notes.answers if notes else (),
    )
    return Earlier(name=name, seen=seen, notes=notes)


def _notes(inside: str, name: str, names: list[str]) -> Notes | None:
    """The latest notes of a capture; None where there are none, or none that can be read."""
    from usbwatch.errors import UsbwatchError
    from usbwatch.stick.notes import LARGEST_FILE, capture_of, parsed

    its = [(found[1], one) for one in names if (found := capture_of(one)) and found[0] == name]
    for _, one in sorted(its, reverse=True):
        try:
            with open(os.path.join(inside, one), "rb") as file:  # noqa: PTH118, PTH123
                return parsed(file.read(LARGEST_FILE + 1), one)
        except (UsbwatchError, OSError):
            continue
    return None

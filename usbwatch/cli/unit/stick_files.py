"""The captures in a folder such as a stick's, each with what was noted of it on the unit. All of it is hostile."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.capture.saved import Saved
    from usbwatch.stick.notes import Notes

__all__ = ["Carried", "capture_files", "carried", "in_order", "is_notes", "with_labels"]

_FOLDER = "captures"
_MOST = 1000
"""Captures that one folder may hold: each is read whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """One capture that was carried to the bench."""

    path: str
    saved: Saved
    notes: Notes | None
    """None where nothing was noted, or nothing that can be read."""
    label: str = ""
    """The label that was given on the unit, beside this capture or another one of it that was carried with it."""
    lost: str = ""
    """Why there are notes and they were left out, as one sentence."""


def is_notes(path: str) -> bool:
    """Whether a file is what was noted of a capture, by its name."""
    from usbwatch.stick.notes import capture_of

    return capture_of(Path(path).name) is not None


def capture_files(folder: str) -> list[str]:
    """Paths of the captures in a folder, or in its folder ``captures``, by name. Raises ``BadCapture``."""
    from usbwatch.errors import BadCapture

    inside = os.path.join(folder, _FOLDER)  # noqa: PTH118 - a hostile name stays as it is
    place = inside if os.path.isdir(inside) else folder  # noqa: PTH112
    try:
        names = sorted(os.listdir(place))  # noqa: PTH208
    except OSError as error:
        raise BadCapture(folder, f"cannot be listed ({error.strerror})", "was the stick pulled out?") from error
    paths = [os.path.join(place, name) for name in names if name.endswith(".json") and not name.startswith(".")]  # noqa: PTH118
    found = [path for path in paths if not is_notes(path) and _is_plain_file(path)]
    if not found:
        raise BadCapture(folder, "is a folder without captures", "give the stick itself, or its folder captures")
    if len(found) > _MOST:
        problem = f"holds {len(found)} captures, and {_MOST} are taken at once"
        raise BadCapture(folder, problem, "name some of them: usbwatch unit import FILE…")
    return found


def _is_plain_file(path: str) -> bool:
    try:
        return stat.S_ISREG(os.lstat(path).st_mode)
    except OSError:
        return False


def carried(path: str) -> Carried:
    """The capture in a file, with its latest notes that can be read. Raises ``BadCapture``."""
    from usbwatch.capture.saved import load_saved

    saved = load_saved(path)
    lost = ""
    for notes, problem in _notes_beside(path):
        if notes is not None and notes.capture == saved.digest:
            return Carried(path=path, saved=saved, notes=notes, label=notes.label)
        lost = lost or problem or "what was noted beside it is of another capture, and is left out"
    return Carried(path=path, saved=saved, notes=None, lost=lost)


def _notes_beside(path: str) -> Iterator[tuple[Notes | None, str]]:
    """The notes of a capture or why they cannot be read, the latest first."""
    from usbwatch.errors import BadNotes
    from usbwatch.stick.notes import LARGEST_FILE, capture_of, parsed

    folder, name = os.path.split(path)
    try:
        names = os.listdir(folder or ".")  # noqa: PTH208
    except OSError:
        return
    found = [(told[1], one) for one in names if (told := capture_of(one)) and told[0] == name]
    for _, one in sorted(found, reverse=True):
        its = os.path.join(folder, one)  # noqa: PTH118
        try:
            if _is_plain_file(its):
                with open(its, "rb") as file:  # noqa: PTH123
                    yield parsed(file.read(LARGEST_FILE + 1), its), ""
        except BadNotes as error:
            yield None, str(error)
        except OSError as error:
            yield None, f"what was noted beside it cannot be read ({error.strerror})"


def with_labels(captures: Sequence[Carried]) -> list[Carried]:
    """The same captures, oldest first; the label that was given last is that of the whole unit, by serial number."""
    from usbwatch.compare.serials import is_serial

    serials = [one.saved.capture.unit.product_serial.strip() for one in captures]
    given = {
        serial: one.label for serial, one in zip(serials, captures, strict=True) if one.label and is_serial(serial)
    }
    return [replace(one, label=given.get(serial, one.label)) for serial, one in zip(serials, captures, strict=True)]


def in_order(captures: Sequence[Carried]) -> list[Carried]:
    """Oldest first: what was weighed with others on the unit comes after them, whatever the unit's clock said."""
    from usbwatch.stick.notes import oldest_first

    by_name = {Path(one.path).name: one for one in captures}
    told = {name: (one.saved.capture.taken_at, one.notes.after if one.notes else ()) for name, one in by_name.items()}
    return [by_name[name] for name in oldest_first(told)]

"""What is left of a watch that was cut off: a file beside the record, to which each event is added as it comes.

The first line holds the opening capture and how the watch began, each other
line one event, one mark, or how long the watch has lasted: JSON lines. A unit
that is flexed may lose power at any moment, and that moment is what the watch
was for.
"""

from __future__ import annotations

import contextlib
import json
import os
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from usbwatch.capture.document import Json
    from usbwatch.model import Capture, Mark, Watch, WatchEvent

__all__ = ["ENDING", "Journal", "recovered"]

ENDING = ".part"
_Kind = TypeVar("_Kind")
_FORMAT = "usbwatch-watch-journal"
_SYNC_S = 1.0
"""How much of a watch a loss of power may cost at the most, and how often a disk is asked to write."""
_ALIVE_S = 60.0
"""How often a quiet watch says how long it has lasted."""
_MOST_NAMES = 1000


class Journal:
    """A journal that is written while a watch goes on.

    What cannot be written any more is said in ``trouble`` and costs the journal alone, not the watch.
    """

    def __init__(self, record: str, capture: Capture, watch: Watch) -> None:
        self.trouble = ""
        self._handle, self.path = _created(record)
        self.size = 0
        """Bytes so far."""
        self._unsynced = False
        self._events = self._marks = 0
        self._told_s = self._synced_s = time.monotonic()
        opening: dict[str, object] = {
            "format": _FORMAT,
            "schema": 1,
            "capture": _document(capture),
            "watch": _plain(watch),
        }
        self._add([opening])
        self._sync()

    def note(self, watch: Watch) -> None:
        """Add what is new in ``watch``, the record as it would be now. To be called at least once a second."""
        new: list[dict[str, object]] = [{"event": _plain(one)} for one in watch.events[self._events :]]
        new += [{"mark": _plain(one)} for one in watch.marks[self._marks :]]
        self._events, self._marks = len(watch.events), len(watch.marks)
        now_s = time.monotonic()
        if new or now_s - self._told_s >= _ALIVE_S:
            self._told_s = now_s
            how: dict[str, object] = {
                "lasted_ms": watch.lasted_ms,
                "sources": list(watch.sources),
                "limit_ms": watch.limit_ms,
            }
            self._add([*new, {**how, "missed": watch.missed}])
        if self._unsynced and now_s - self._synced_s >= _SYNC_S:
            self._sync()

    def remove(self) -> None:
        """The record is written: the journal is not needed any more."""
        self.close()
        with contextlib.suppress(OSError):
            Path(self.path).unlink()

    def close(self) -> None:
        """Keep the journal as it is."""
        if self._handle >= 0:
            self._sync()
            os.close(self._handle)
            self._handle = -1

    def _add(self, values: list[dict[str, object]]) -> None:
        content = "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in values).encode("ascii")
        self.size += len(content)
        try:
            while content and self._handle >= 0 and not self.trouble:
                content = content[os.write(self._handle, content) :]
                self._unsynced = True
        except OSError as error:
            self.trouble = f"the journal {self.path} cannot be written any more ({error.strerror})"

    def _sync(self) -> None:
        self._unsynced, self._synced_s = False, time.monotonic()
        with contextlib.suppress(OSError):  # not every file system can
            os.fsync(self._handle)


def _created(record: str) -> tuple[int, str]:
    """A new file beside the record: descriptor and name. Raises ``UnwritableOutput``."""
    from usbwatch.errors import UnwritableOutput

    for number in range(1, _MOST_NAMES):
        path = f"{record}{f'.{number}' if number > 1 else ''}{ENDING}"
        try:
            return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | os.O_CLOEXEC, 0o666), path
        except FileExistsError:
            continue
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            problem = f"cannot be written beside, nor its journal ({reason})"
            raise UnwritableOutput(record, problem, "choose another place with -o") from error
    raise UnwritableOutput(record, "has a thousand journals beside it", "remove those that are not needed")


def _plain(value: Watch | WatchEvent | Mark) -> Json:
    from usbwatch.capture.document import plain

    return plain(value)


def _document(capture: Capture) -> Json:
    from usbwatch.capture.document import document

    return document(capture)


def recovered(path: str) -> tuple[Capture, int]:
    """The opening capture with the watch as far as a journal has it, and how many bytes at its end could not be read.

    What was being written when power went is cut off or a run of zeros.
    Raises ``BadCapture`` for what is no journal.
    """
    from usbwatch.capture.saved import content_of, parse
    from usbwatch.errors import BadCapture
    from usbwatch.model import Watch

    content = content_of(path)
    first, _, rest = content.partition(b"\n")
    opening = _line(first)
    body = opening.get("capture") if opening is not None and opening.get("format") == _FORMAT else None
    begun = _as(opening.get("watch"), Watch) if opening is not None else None
    if not isinstance(body, dict) or begun is None or opening is None or opening.get("schema") != 1:
        raise BadCapture(
            path, "is not the journal of a watch", f"give a file that watch left, whose name ends in {ENDING}"
        )
    capture = parse(json.dumps(body).encode(), path)
    watch, left = _with_lines(begun, rest)
    return replace(capture, watches=(*capture.watches, watch)), left


def _with_lines(watch: Watch, rest: bytes) -> tuple[Watch, int]:
    """The watch with all lines up to the first that is none, and how many bytes are left from there on."""
    from usbwatch.model import Mark, WatchEvent

    events: list[WatchEvent] = []
    marks: list[Mark] = []
    how: dict[str, object] = {}
    while rest:
        content, ended, after = rest.partition(b"\n")
        line = _line(content) if ended else None
        if line is None:
            break
        event, mark = _as(line.get("event"), WatchEvent), _as(line.get("mark"), Mark)
        events += [event] if event is not None else []
        marks += [mark] if mark is not None else []
        if event is None and mark is None:
            how = line
        rest = after
    lasted = how.get("lasted_ms")
    times = [watch.lasted_ms, *(one.at_ms for one in events), *(one.at_ms for one in marks)]
    whole: dict[str, object] = {
        **_fields(watch),
        **{key: how[key] for key in ("sources", "limit_ms", "missed") if key in how},
        "lasted_ms": max([*times, *([lasted] if isinstance(lasted, int) else [])]),
    }
    from usbwatch.model import Watch

    told = _as(whole, Watch) or watch
    return replace(told, events=tuple(events), marks=tuple(marks)), len(rest)


def _fields(watch: Watch) -> dict[str, object]:
    plain = _plain(watch)
    assert isinstance(plain, dict)
    return dict(plain)


def _line(content: bytes) -> dict[str, object] | None:
    import msgspec

    try:
        line = msgspec.json.decode(content)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return line if isinstance(line, dict) else None


def _as(value: object, kind: type[_Kind]) -> _Kind | None:
    import msgspec

    try:
        return msgspec.convert(value, kind, strict=True) if value is not None else None
    except (msgspec.ValidationError, RecursionError):
        return None

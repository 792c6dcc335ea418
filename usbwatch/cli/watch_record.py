"""Where the record of a watch goes, seen to before the watch begins and kept whatever happens at its end."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from usbwatch.cli.watch_journal import ENDING, Journal, recovered

if TYPE_CHECKING:
    from usbwatch.model import Capture, Watch

__all__ = ["Keeping", "keeping_of", "longest_ms", "recover", "room_in"]

_MOST_JOURNAL = 48 * 1024 * 1024
"""Bytes of a journal at which the watch ends: a capture file has 64 MiB, and more letters for the same events."""
_MOST_NAMES = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """The file that the record is meant for, and the journal that is kept till it is written."""

    path: str
    added_to: bool
    force: bool
    live: Capture
    """The opening capture, of this machine."""
    journal: Journal

    def end_of_room(self, watch: Watch, room: int) -> str:
        """Why the watch has to end, as a phrase; "" while there is room. ``room`` is of ``room_in``."""
        if len(watch.events) + len(watch.marks) + len(watch.watched) >= room or self.journal.size >= _MOST_JOURNAL:
            return "a capture holds no more events than it has now"
        return ""

    def kept(self, watch: Watch, closing: Capture) -> str:
        """Write the record; the file's name, which is another one where the one that was meant cannot be written.

        Raises ``UnwritableOutput`` where there is no place for it at all; the journal then stays.
        """
        from usbwatch.cli.screen import say
        from usbwatch.errors import BadCapture, UnwritableOutput

        path = self.path
        try:
            if self.added_to:
                _add(path, self.live, watch)
            else:
                _write(path, replace(closing, watches=(watch,)), force=self.force)
        except (UnwritableOutput, BadCapture) as error:
            path = _elsewhere(path, replace(closing, watches=(watch,)))
            if not path:
                raise
            with contextlib.suppress(OSError, UnwritableOutput):
                say(f"usbwatch: {error} The record is kept in another file instead.")
        self.journal.remove()
        return path


def keeping_of(output: str | None, add_to: str | None, live: Capture, begun: Watch, *, force: bool) -> Keeping:
    """The place of the record, once it is known that it can be written there. Raises ``UnwritableOutput``."""
    from usbwatch.capture.naming import default_name
    from usbwatch.errors import UnwritableOutput

    path = add_to or output or default_name(live.unit, datetime.now().astimezone())
    if Path(path).exists() and not Path(path).is_file():
        raise UnwritableOutput(path, "is there and is no regular file", "choose another name")
    return Keeping(path=path, added_to=add_to is not None, force=force, live=live, journal=Journal(path, live, begun))


def longest_ms() -> int:
    """How long a watch may last so that a capture can hold it."""
    from usbwatch.capture.saved import LONGEST_WATCH_MS

    return LONGEST_WATCH_MS


def room_in(base: Capture, path: str | None) -> int:
    """How many events, marks and watched places a watch may have that ``base`` is to hold.

    ``path`` is the file of ``base``, None for a capture of its own. Raises
    ``BadCapture`` where there is no room for any.
    """
    from usbwatch.capture.saved import MOST_IN_WATCHES, MOST_WATCHES
    from usbwatch.errors import BadCapture

    if path is None:
        return MOST_IN_WATCHES
    told = sum(len(one.events) + len(one.marks) + len(one.watched) for one in base.watches)
    if len(base.watches) >= MOST_WATCHES or told >= MOST_IN_WATCHES - len(base.nodes):
        much = f"{len(base.watches)} watches with {told} events, marks and places"
        raise BadCapture(path, f"holds {much}, and takes no more", "leave --add-to, and keep the watch by itself")
    return MOST_IN_WATCHES - told


def _add(path: str, live: Capture, watch: Watch) -> None:
    """Add the watch to what the file holds by now. Raises ``BadCapture`` or ``UnwritableOutput``."""
    from usbwatch.cli.adding import base_capture

    with _locked(path):
        base = base_capture(path, live, "the watch")
        _write(path, replace(base, watches=(*base.watches, watch)), force=True)


@contextlib.contextmanager
def _locked(path: str) -> Iterator[None]:
    """Alone with the file among those that add to it: the lock is on the file that has the name when it is got."""
    held = -1
    while held < 0:
        held = _lock_if_current(path)
    try:
        yield
    finally:
        os.close(held)


def _lock_if_current(path: str) -> int:
    """A locked descriptor of the file, -1 where another file had taken its name by the time the lock was got."""
    import fcntl

    from usbwatch.errors import UnwritableOutput

    try:
        handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        with contextlib.suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        if os.path.samestat(os.fstat(handle), Path(path).stat()):
            return handle
    except OSError as error:
        raise UnwritableOutput(path, f"is not there any more ({error.strerror})", "look where it went") from error
    os.close(handle)
    return -1


def _write(path: str, capture: Capture, *, force: bool) -> None:
    """Write a capture once it is known that it can be read back. Raises ``BadCapture`` or ``UnwritableOutput``."""
    from usbwatch.capture import to_json
    from usbwatch.capture.saved import LARGEST_FILE, parse
    from usbwatch.cli.writing import write_bytes
    from usbwatch.errors import BadCapture

    content = to_json(capture).encode()
    if len(content) > LARGEST_FILE:
        raise BadCapture(path, f"would become larger than {LARGEST_FILE // 1024**2} MiB", "watch for a shorter time")
    parse(content, path)
    write_bytes(path, content, force=force)


def _elsewhere(path: str, capture: Capture) -> str:
    """Write a capture under a free name in the same folder, the current or the temporary one; "" for none."""
    from usbwatch.errors import BadCapture, UnwritableOutput

    name = Path(path).name or "watch.json"
    for folder in (Path(path).parent, Path(), Path(tempfile.gettempdir())):
        for number in range(2, _MOST_NAMES):
            tried = folder / f"{Path(name).stem}-{number}{Path(name).suffix or '.json'}"
            if os.path.lexists(tried):
                continue
            with contextlib.suppress(UnwritableOutput, BadCapture):
                _write(str(tried), capture, force=False)
                return str(tried)
            break
    return ""


def recover(journal: str, output: str | None, *, force: bool) -> tuple[str, int]:
    """Write the record of a watch that was cut off; its file, and how many bytes of the journal could not be read.

    The journal stays as it is. Raises ``BadCapture`` and ``UnwritableOutput``.
    """
    capture, left = recovered(journal)
    path = output or _name_for(journal)
    _write(path, capture, force=force)
    return path, left


def _name_for(journal: str) -> str:
    """The name that the record would have had, or the next free one."""
    path = Path(journal.removesuffix(ENDING) if journal.endswith(ENDING) else f"{journal}.json")
    stem, ending = path.stem, path.suffix
    number = 2
    while os.path.lexists(path):
        path = path.with_name(f"{stem}-{number}{ending}")
        number += 1
    return str(path)

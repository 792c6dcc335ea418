"""``usbwatch watch``: what comes and goes, live, while a person flexes, reseats, heats or cools."""

from __future__ import annotations

import contextlib
import errno
import math
import sys
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import click

from usbwatch.cli import exits
from usbwatch.cli.options import example, profile_names

if TYPE_CHECKING:
    from usbwatch.capture.stream import LiveStream
    from usbwatch.cli.endings import Ending
    from usbwatch.cli.sitting import News, Sitting
    from usbwatch.cli.typing import Keys
    from usbwatch.cli.watch_outlets import Outlet
    from usbwatch.cli.watch_record import Keeping
    from usbwatch.model import Capture, Mark, Profile
    from usbwatch.show.live_page import LivePage

__all__ = ["watch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Request:
    """What was asked for on the command line."""

    profile: str | None
    seconds: float | None
    way: str
    output: str | None
    add_to: str | None
    keep: bool
    force: bool
    bell: bool
    lines: bool
    as_json: bool


def _finite(_context: click.Context, _parameter: click.Parameter, seconds: float | None) -> float | None:
    if seconds is not None and not math.isfinite(seconds):
        raise click.BadParameter("give a number of seconds.")
    return seconds


@click.command(epilog=example("usbwatch watch", "usbwatch watch --for 600 --lines --add-to before.json"))
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Watch by this profile.")
@click.option(
    "--for",
    "seconds",
    type=click.FloatRange(min=0, min_open=True),
    callback=_finite,
    metavar="SECONDS",
    help="End by itself.",
)
@click.option(
    "--source",
    "way",
    type=click.Choice(("auto", "uevents", "looks")),
    default="auto",
    show_default=True,
    help="How to hear of devices: the kernel's events, or looks at sysfs ten times a second.",
)
@click.option("-o", "--output", metavar="FILE", help="Write the record here, else to a name from model and time.")
@click.option(
    "--add-to", type=click.Path(readable=False), metavar="CAPTURE", help="Add the record to this capture of the unit."
)
@click.option("--no-record", is_flag=True, help="Keep no record.")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell when something of the unit's own goes.")
@click.option("--lines", is_flag=True, help="Print a line per event, on a terminal as well.")
@click.option(
    "--recover",
    type=click.Path(),
    metavar="JOURNAL",
    help="Watch nothing; make the record of a watch that was cut off.",
)
@click.option("--root", hidden=True, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="Print JSON lines instead of text, one object each.")
def watch(
    profile: str | None,
    seconds: float | None,
    way: str,
    output: str | None,
    add_to: str | None,
    *,
    recover: str | None,
    root: str | None,
    no_record: bool,
    force: bool,
    bell: bool,
    lines: bool,
    as_json: bool,
) -> int:
    """Show live what comes and goes while you flex a cable.

    It runs on the unit itself, over SSH and serial consoles as well, and only
    listens: nothing is written to a device. A line typed while it runs, or Enter
    alone, marks the moment. Ctrl-C ends it: the summary is shown, and the record
    is kept in a capture of the unit as it then is. --json prints one object a
    line.

    Exit code 0: nothing happened to the unit's own devices; 10: something did,
    or something is not well at the end; 11: nothing could be watched.
    """
    from usbwatch.cli.adding import refuse_clash

    if root is not None:
        raise click.UsageError("a copied tree does not change; run watch on the unit itself, without --root.")
    if no_record and (output is not None or add_to is not None):
        raise click.UsageError("--no-record keeps nothing, so it takes neither -o nor --add-to.")
    if as_json and lines:
        raise click.UsageError("--json prints lines already; leave --lines.")
    if recover is not None:
        if no_record or add_to is not None:
            raise click.UsageError(
                "--recover writes a record of its own, so it takes neither --no-record nor --add-to."
            )
        return _recovered(recover, output, force=force)
    refuse_clash(output, add_to)
    request = _Request(
        profile=profile,
        seconds=seconds,
        way=way,
        output=output,
        add_to=add_to,
        keep=not no_record,
        force=force,
        bell=bell,
        lines=lines,
        as_json=as_json,
    )
    return _watched(request)


def _recovered(journal: str, output: str | None, *, force: bool) -> int:
    from usbwatch.cli.screen import say
    from usbwatch.cli.watch_record import recover

    path, left = recover(journal, output, force=force)
    cut = f" ({left} bytes at its end were cut off or damaged)" if left else ""
    say(f"usbwatch: the watch is kept in {path}, as far as the journal has it{cut}; the journal is still there.")
    return exits.WELL


def _watched(request: _Request) -> int:
    from usbwatch.cli.adding import base_capture, refuse_taken_name
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.endings import until_ended
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import taken
    from usbwatch.cli.typing import keys_of_the_terminal
    from usbwatch.cli.watch_outlets import outlet_for
    from usbwatch.cli.watch_record import room_in
    from usbwatch.errors import UnwritableOutput

    _refuse_other_systems()
    refuse_taken_name(request.output, force=request.force)
    live = taken(None, None, "sysfs")
    base = base_capture(request.add_to, live, "the watch")
    room = room_in(base, request.add_to)
    profile = chosen(base, request.profile, may_ask=False)
    keys = keys_of_the_terminal()
    with until_ended() as ending:
        with _opened(request.way, (ending.wake, *([] if keys.handle is None else [keys.handle]))) as stream:
            sitting = _begun(stream, live, profile, room, request.profile or "")
            keeping = _kept_from_now(sitting, live, request)
            bounds = _Bounds(request.seconds, keeping, room)
            with outlet_for(as_json=request.as_json, lines=request.lines, bell=request.bell, keys=keys) as outlet:
                trouble = _shown(sitting, outlet, ending, _Hand(keys, stream), bounds)
        if bounds.why:
            with contextlib.suppress(OSError, UnwritableOutput):
                say(f"usbwatch: the watch ended by itself: {bounds.why}; begin another.")
        return _ended(sitting, outlet, keeping, trouble)


def _refuse_other_systems() -> None:
    from usbwatch.errors import NoSysfs

    if sys.platform != "linux":
        raise NoSysfs


def _opened(way: str, wakes: tuple[int, ...]) -> LiveStream:
    """The sources; raises ``NoLibrary`` or ``NoSysfs``, and says what could not be had."""
    from usbwatch.capture.stream import LiveStream, NoMonitor
    from usbwatch.cli.screen import say
    from usbwatch.errors import NoSysfs, Refused

    try:
        stream = LiveStream(way, wakes)
    except NoMonitor as error:
        raise Refused(
            f"the kernel's events are not to be had: {error}", "leave --source, or give --source looks"
        ) from error
    except OSError as error:
        raise NoSysfs from error
    for lack in stream.lacking:
        say(f"usbwatch: {lack}{_instead(lack)}.")
    return stream


def _instead(lack: str) -> str:
    """What is lost by what could not be had, and what to do about it."""
    if "kernel's log" in lack:
        return ": failures to enumerate, over-current and resets are not told; run it as root to have them"
    if "kernel's events" in lack:
        from usbwatch.capture.stream.live import KERNEL_LIMIT_MS, LOOK_EVERY_MS

        said = (
            f": it looks every {LOOK_EVERY_MS} ms instead, so absences under {KERNEL_LIMIT_MS + LOOK_EVERY_MS} ms may "
            "pass unseen"
        )
        return said + ("; pip install 'usbwatch[live]' hears them at once" if "pyudev" in lack else "")
    return ""


def _begun(stream: LiveStream, live: Capture, profile: Profile, room: int, asked: str) -> Sitting:
    from usbwatch.cli.sitting import Sitting, Start
    from usbwatch.compare import findings

    start = Start(
        began=datetime.now().astimezone(),
        capture=live,
        findings=findings(live, profile),
        profile=profile,
        asked_profile=asked,
    )
    return Sitting(stream, start, stream.now_ms, room)


def _kept_from_now(sitting: Sitting, live: Capture, request: _Request) -> Keeping | None:
    """The place of the record and its journal; None where none is wanted."""
    from usbwatch.cli.watch_record import keeping_of

    if not request.keep:
        return None
    return keeping_of(request.output, request.add_to, live, sitting.record(), force=request.force)


class _Bounds:
    """When a watch ends by itself, and the journal that is kept meanwhile."""

    def __init__(self, seconds: float | None, keeping: Keeping | None, room: int) -> None:
        from usbwatch.cli.watch_record import longest_ms

        self._longest_ms, self._keeping, self._room = longest_ms(), keeping, room
        asked_ms = self._longest_ms if seconds is None else int(seconds * 1000)
        self.until_ms = min(asked_ms, self._longest_ms) if keeping is not None else asked_ms
        self._was_asked = self.until_ms == asked_ms and seconds is not None
        self.why = ""
        """Why it ended without being asked to, as a phrase."""

    def reached(self, sitting: Sitting) -> bool:
        """Whether it ends now. What is new goes into the journal."""
        if self._keeping is not None:
            watch = sitting.record()
            self._keeping.journal.note(watch)
            self.why = self._keeping.end_of_room(watch, self._room)
        timed_out = sitting.now_ms() >= self.until_ms
        if timed_out and not self._was_asked:
            self.why = f"a capture holds no watch of more than {self._longest_ms // 86_400_000} days"
        return timed_out or bool(self.why)


class _Hand:
    """The person's marks; a terminal that is closed no longer wakes the stream."""

    def __init__(self, keys: Keys, stream: LiveStream) -> None:
        self._keys = keys
        self._stream = stream

    def marks(self, sitting: Sitting) -> tuple[Mark, ...]:
        """The marks that were made since the last time."""
        handle = self._keys.handle
        lines = self._keys.lines()
        if handle is not None and self._keys.handle is None:
            self._stream.forget(handle)
        return tuple(sitting.mark(line) for line in lines)


def _shown(sitting: Sitting, outlet: Outlet, ending: Ending, hand: _Hand, bounds: _Bounds) -> Exception | None:
    """Watch until the end; the error of an output that takes no more, which ends the watch and not the record."""
    from usbwatch.errors import UnwritableOutput

    try:
        outlet.begin(sitting.watched())
        while not ending.wanted and not bounds.reached(sitting):
            incidents = sitting.waited(bounds.until_ms, outlet.next_ms)
            happened: tuple[News, ...] = (*hand.marks(sitting), *incidents)
            for news in happened:
                outlet.tell(news, sitting.watched())
            ending.rest()
            outlet.moment(sitting)
        for news in sitting.ended():
            outlet.tell(news, sitting.watched())
    except (OSError, UnwritableOutput) as error:
        return error
    return None


def _ended(sitting: Sitting, outlet: Outlet, keeping: Keeping | None, trouble: Exception | None) -> int:
    """Keep the record first, then show what it came to; the exit code."""
    from usbwatch.errors import BadCapture, UnwritableOutput

    watched = sitting.watched()
    try:
        record = _kept(sitting, keeping) if keeping is not None else ""
    except (UnwritableOutput, BadCapture):
        outlet.end(watched, "")
        raise
    if trouble is None:
        try:
            outlet.end(watched, record)
        except (OSError, UnwritableOutput) as error:
            trouble = error
    if trouble is not None and not _is_lost_terminal(trouble):
        raise trouble
    return _code(sitting, watched)


def _code(sitting: Sitting, watched: LivePage) -> int:
    from usbwatch.show.watch_summary import ends_unwell, has_watched

    if sitting.was_eventful or ends_unwell(watched):
        return exits.WRONG
    return exits.WELL if has_watched(watched) else exits.NOT_ALL_SEEN


def _is_lost_terminal(trouble: Exception) -> bool:
    """Whether an output failed because its terminal has gone: then there is nobody to tell of it (EIO, tty(4))."""
    cause = trouble if isinstance(trouble, OSError) else trouble.__cause__
    return isinstance(cause, OSError) and cause.errno == errno.EIO


def _kept(sitting: Sitting, keeping: Keeping) -> str:
    """Write the record; the file's name."""
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import taken
    from usbwatch.errors import UnwritableOutput, UsbwatchError

    watch, journal = sitting.record(), keeping.journal
    journal.note(watch)
    with contextlib.suppress(OSError, UnwritableOutput):
        if journal.trouble:
            say(f"usbwatch: {journal.trouble}.")
        if not keeping.added_to:
            say("usbwatch: the watch has ended; taking the closing capture (Ctrl-C leaves the journal alone).")
    closing = keeping.live
    if not keeping.added_to:
        with contextlib.suppress(OSError, UsbwatchError):  # the opening one is better than no record
            closing = taken(None, None, "sysfs")
    return keeping.kept(watch, closing)

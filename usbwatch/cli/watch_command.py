"""``usbwatch watch``: what comes and goes, live, while a person flexes, reseats, heats or cools."""

from __future__ import annotations

import contextlib
import errno
import sys
from dataclasses import dataclass, replace
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
    from usbwatch.model import Capture, Mark, Profile

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


@click.command(epilog=example("usbwatch watch", "usbwatch watch --for 600 --lines --add-to before.json"))
@click.option("--profile", metavar="NAME|FILE", shell_complete=profile_names, help="Watch by this profile.")
@click.option("--for", "seconds", type=click.FloatRange(min=0, min_open=True), metavar="SECONDS", help="End by itself.")
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
@click.option("--root", hidden=True, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="Print JSON lines instead of text, one object each.")
def watch(
    profile: str | None,
    seconds: float | None,
    way: str,
    output: str | None,
    add_to: str | None,
    *,
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

    Exit code 0: nothing happened to the unit's own devices; 10: something did.
    """
    from usbwatch.cli.adding import refuse_clash

    if root is not None:
        raise click.UsageError("a copied tree does not change; run watch on the unit itself, without --root.")
    if no_record and (output is not None or add_to is not None):
        raise click.UsageError("--no-record keeps nothing, so it takes neither -o nor --add-to.")
    if as_json and lines:
        raise click.UsageError("--json prints lines already; leave --lines.")
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


def _watched(request: _Request) -> int:
    from usbwatch.cli.adding import base_capture, refuse_taken_name
    from usbwatch.cli.choosing import chosen
    from usbwatch.cli.endings import until_ended
    from usbwatch.cli.taking import taken
    from usbwatch.cli.typing import keys_of_the_terminal
    from usbwatch.cli.watch_outlets import outlet_for

    _refuse_other_systems()
    refuse_taken_name(request.output, force=request.force)
    live = taken(None, None, "sysfs")
    base = base_capture(request.add_to, live, "the watch")
    profile = chosen(base, request.profile, may_ask=not request.as_json)
    keys = keys_of_the_terminal()
    with until_ended() as ending:
        with _opened(request.way, (ending.wake, *([] if keys.handle is None else [keys.handle]))) as stream:
            sitting = _begun(stream, live, profile)
            with outlet_for(as_json=request.as_json, lines=request.lines, bell=request.bell, keys=keys) as outlet:
                trouble = _shown(sitting, outlet, ending, _Hand(keys, stream), request.seconds)
        return _ended(sitting, outlet, base, request, trouble)


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
    if stream.lacking:
        say(f"usbwatch: {'; '.join(stream.lacking)}.")
    return stream


def _begun(stream: LiveStream, live: Capture, profile: Profile) -> Sitting:
    from usbwatch.cli.sitting import Sitting, Start
    from usbwatch.compare import findings

    start = Start(began=datetime.now().astimezone(), capture=live, findings=findings(live, profile), profile=profile)
    return Sitting(stream, start, stream.now_ms)


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


def _shown(sitting: Sitting, outlet: Outlet, ending: Ending, hand: _Hand, seconds: float | None) -> Exception | None:
    """Watch until the end; the error of an output that takes no more, which ends the watch and not the record."""
    from usbwatch.errors import UnwritableOutput

    until_ms = int(seconds * 1000) if seconds is not None else None
    try:
        outlet.begin(sitting.watched())
        while not ending.wanted and (until_ms is None or sitting.now_ms() < until_ms):
            incidents = sitting.waited(until_ms, outlet.next_ms)
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


def _ended(sitting: Sitting, outlet: Outlet, base: Capture, request: _Request, trouble: Exception | None) -> int:
    """Keep the record first, then show what it came to; the exit code."""
    from usbwatch.errors import UnwritableOutput

    watched = sitting.watched()
    try:
        record = _kept(sitting, base, request) if request.keep else ""
    except UnwritableOutput:
        outlet.end(watched, "")
        raise
    if trouble is None:
        try:
            outlet.end(watched, record)
        except (OSError, UnwritableOutput) as error:
            trouble = error
    if trouble is not None and not _is_lost_terminal(trouble):
        raise trouble
    return exits.WRONG if sitting.was_eventful else exits.WELL


def _is_lost_terminal(trouble: Exception) -> bool:
    """Whether an output failed because its terminal has gone: then there is nobody to tell of it (EIO, tty(4))."""
    cause = trouble if isinstance(trouble, OSError) else trouble.__cause__
    return isinstance(cause, OSError) and cause.errno == errno.EIO


def _kept(sitting: Sitting, base: Capture, request: _Request) -> str:
    """Write the record; the file's name."""
    from usbwatch.capture import to_json
    from usbwatch.capture.naming import default_name
    from usbwatch.cli.screen import say
    from usbwatch.cli.taking import taken
    from usbwatch.cli.writing import write_file
    from usbwatch.errors import UnwritableOutput

    watch = sitting.record()
    if request.add_to is not None:
        write_file(request.add_to, to_json(replace(base, watches=(*base.watches, watch))), force=True)
        return request.add_to
    with contextlib.suppress(OSError, UnwritableOutput):
        say("usbwatch: the watch has ended; taking the closing capture (Ctrl-C leaves without a record).")
    closing = taken(None, None, "sysfs")
    path = request.output or default_name(closing.unit, datetime.now().astimezone())
    write_file(path, to_json(replace(closing, watches=(watch,))), force=request.force)
    return path

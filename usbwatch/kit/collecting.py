"""The collector: one run on a unit, from its arguments to its exit code.

Runs from the kit's one file with the standard library of Python 3.8 or later.
It writes its own files, beside itself or where ``-o`` says, and nothing else.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
from datetime import datetime, timezone
from typing import Iterator, NamedTuple, Optional, Sequence, Tuple

from usbwatch import __version__
from usbwatch.capture.archive import opened_tree
from usbwatch.capture.document import to_json
from usbwatch.capture.kmsg import copied_log, live_log
from usbwatch.capture.live import LiveTree
from usbwatch.capture.look import take
from usbwatch.capture.naming import default_name
from usbwatch.capture.origin import origin
from usbwatch.capture.tree import Tree
from usbwatch.errors import UsbwatchError
from usbwatch.kit.signals import DONE, FAILED, UNPOSTED, Signals
from usbwatch.kit.sticks import check_writable, write_new
from usbwatch.kit.summary import summary
from usbwatch.model import Capture
from usbwatch.safe import safe

__all__ = ["POST_TO", "CannotCaptureError", "main"]

POST_TO = "post-to.txt"
"""Beside the collector: a line with the address of the bench computer, and one with its code."""

_WAIT_S = 10
_WELL, _BUG, _FAILED, _UNPOSTED, _INTERRUPTED = 0, 1, 3, 4, 130
_BY_SIGNAL = 128
_LONGEST_WAIT_S = 3600
_LARGEST_NOTE = 4096


class CannotCaptureError(UsbwatchError):
    """Nothing can be captured here: why, and what to do."""


def main(arguments: Sequence[str], itself: str) -> int:
    """The exit code of one run; ``itself`` is the path of the collector's file."""
    asked = _parser().parse_args(arguments)
    signals = Signals(_write, terminal=sys.stderr is not None and sys.stderr.isatty(), quiet=asked.quiet)
    try:
        with _told_to_end():
            return _run(asked, os.path.dirname(os.path.abspath(itself)), signals)
    except KeyboardInterrupt as error:
        _write("usbwatch: interrupted; nothing more was written.\n")
        return _BY_SIGNAL + error.number if isinstance(error, _ToldToEnd) else _INTERRUPTED
    except (UsbwatchError, OSError) as error:
        told = str(error) if isinstance(error, UsbwatchError) else f"something failed: {safe(str(error), 300)}."
        _write(f"usbwatch: {told}\n")
        signals.sound(FAILED)
        return _FAILED
    except Exception as error:  # noqa: BLE001 - a bug of ours is told as one, in a sentence
        if os.environ.get("USBWATCH_DEBUG", "") not in ("", "0"):
            import traceback

            _write(traceback.format_exc())
        _write(f"usbwatch: this is a bug in usbwatch itself: {type(error).__name__}: {safe(str(error), 300)}.\n")
        signals.sound(FAILED)
        return _BUG


class _ToldToEnd(KeyboardInterrupt):
    """A signal that ends this has come, other than Ctrl-C's."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


@contextlib.contextmanager
def _told_to_end() -> Iterator[None]:
    """Raise ``_ToldToEnd`` where the system would end this without a word; the signals are as they were after it."""
    numbers = [number for name in ("SIGTERM", "SIGHUP") for number in [getattr(signal, name, None)] if number]
    before = {number: signal.getsignal(number) for number in numbers}

    def end(number: int, _: object) -> None:
        raise _ToldToEnd(number)

    heard = [number for number in numbers if before[number] is not signal.SIG_IGN]  # as nohup(1) leaves it
    for number in heard:
        signal.signal(number, end)
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, before[number])


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="capture.py",
        description="Record what this unit enumerates in a file beside this one. It reads, and changes nothing.",
        epilog="Example: python3 capture.py --wait 30",
    )
    parser.add_argument("--wait", type=_seconds, metavar="N", help=f"wait N seconds first (default: {_WAIT_S})")
    parser.add_argument("--quiet", action="store_true", help="say nothing but errors; no beep, no blinking")
    parser.add_argument("--root", metavar="DIR", help="read a copied tree (folder or tar) instead of this machine")
    parser.add_argument("-o", "--output", metavar="FILE", help="write the capture here, or into this folder")
    parser.add_argument("--post", metavar="ADDRESS", help="post it to the bench computer's usbwatch listen too")
    parser.add_argument("--code", metavar="CODE", help="the code that usbwatch listen shows")
    parser.add_argument("--version", action="version", version=f"usbwatch {__version__}, collector")
    return parser


def _seconds(text: str) -> int:
    if not text.isdecimal() or int(text) > _LONGEST_WAIT_S:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number of seconds from 0 to {_LONGEST_WAIT_S}")
    return int(text)


def _run(asked: argparse.Namespace, folder: str, signals: Signals) -> int:
    """Capture, save, say so, and only then post: what is saved is done, whatever becomes of the post."""
    _check_system(asked.root)
    destination = _destination(asked, folder)
    folder, name = _place(asked.output, folder)
    check_writable(folder)
    tree = None if asked.root is None else opened_tree(asked.root)
    default_wait = 0 if tree else _WAIT_S
    signals.count_down(default_wait if asked.wait is None else asked.wait)
    signals.say("Capturing ...")
    made = _of_this_machine() if tree is None else _of_copy(tree)
    content = to_json(made).encode("utf-8")
    path = os.path.join(folder, name or default_name(made.unit, datetime.now().astimezone()))
    saved = _saved(made, content, path, signals)
    return _handed_on(content, saved, destination, signals)


def _saved(made: Capture, content: bytes, path: str, signals: Signals) -> str:
    """The path that the capture was written to, with its summary beside it. Raises ``UnwritableOutput``."""
    saved = write_new(path, content)
    signals.say(f"Saved {safe(saved)} ({len(made.nodes)} nodes)")
    told = write_new(os.path.splitext(saved)[0] + ".txt", summary(made, os.path.basename(saved)).encode("ascii"))
    signals.say(f"Saved {safe(told)}, for you to read")
    return saved


def _handed_on(content: bytes, saved: str, destination: Optional[_Bench], signals: Signals) -> int:
    """The exit code, once it is told that it is saved, and posted where that is wanted."""
    next_step = f"At the bench computer: usbwatch check {safe(os.path.basename(saved))}"
    if destination is None:
        signals.say(next_step)
        signals.sound(DONE)
        return _WELL
    signals.sound(DONE)
    problem = destination.problem or _posted(content, destination.address, destination.code, signals)
    if not problem:
        signals.say(f"This stick has it too: usbwatch check {safe(os.path.basename(saved))}")
        return _WELL
    _write(f"usbwatch: the capture is saved and was not posted: {problem}\n")
    signals.say(next_step)
    signals.sound(UNPOSTED)
    return _UNPOSTED


def _place(output: Optional[str], folder: str) -> Tuple[str, str]:
    """The folder to write to, and the file's name, "" for one made of model and time: ``-o`` may name either."""
    if not output:
        return folder, ""
    if os.path.isdir(output):
        return os.path.abspath(output), ""
    above, name = os.path.split(output)
    return os.path.abspath(above), name


def _check_system(root: Optional[str]) -> None:
    if root is not None:
        return
    if sys.platform != "linux":
        raise CannotCaptureError(
            f"this collector reads Linux's /sys, and this system is {sys.platform}; start a Linux live system on the "
            "unit and run it there."
        )
    if not (os.path.isdir("/sys/bus") or os.path.isdir("/sys/class")):
        raise CannotCaptureError("there is no /sys here; mount it (mount -t sysfs sysfs /sys) and run this again.")


def _of_copy(tree: Tree) -> Capture:
    came = origin(tree)
    return take(tree, taken_at=came.taken_at, log=copied_log(tree), privileged=came.privileged)


def _of_this_machine() -> Capture:
    """The capture as ``usbwatch capture`` takes it."""
    now = datetime.now(timezone.utc).isoformat(timespec="seconds").replace("+00:00", "Z")
    return take(LiveTree(), taken_at=now, log=live_log(), privileged=os.geteuid() == 0)


class _Bench(NamedTuple):
    """Where to post to."""

    address: str = ""
    code: str = ""
    """"" for a bench on the same machine, which needs none."""
    problem: str = ""
    """Why it is not known, as a sentence; that keeps nobody from capturing."""


def _destination(asked: argparse.Namespace, folder: str) -> Optional[_Bench]:
    """Where to post to, None when that is not wanted. Raises ``CannotCaptureError`` for a code without an address."""
    if asked.post:
        return _Bench(address=asked.post, code=asked.code or "")
    if asked.code is not None or asked.post is not None:
        raise CannotCaptureError("--code goes with --post ADDRESS; usbwatch listen shows both.")
    try:
        with open(os.path.join(folder, POST_TO), "rb") as file:
            words = file.read(_LARGEST_NOTE).decode("utf-8-sig", "replace").split()
    except FileNotFoundError:
        return None
    except OSError as error:
        return _Bench(problem=f"{POST_TO} cannot be read ({error.strerror}); write it again.")
    if len(words) not in (1, 2):
        return _Bench(problem=f"{POST_TO} should hold an address and a code, each on a line of its own; mend it.")
    return _Bench(address=words[0], code=" ".join(words[1:]))


def _posted(content: bytes, address: str, code: str, signals: Signals) -> str:
    """Say what the bench computer answered; or why it has not got the capture, "" when it has."""
    from usbwatch.kit.posting import NotPosted, post

    signals.say(f"Trying to reach the bench at {safe(address, 100)} ...")
    try:
        signals.say(f"The bench: {safe(post(content, address, code), 300)}")
    except KeyboardInterrupt:
        return "it was interrupted."
    except NotPosted as error:
        return str(error)
    except OSError as error:
        return f"{safe(str(error), 300)}."
    return ""


def _write(text: str) -> None:
    """Write to standard error what its encoding can carry; a terminal that is gone is not waited for."""
    if sys.stderr is None:
        return
    encoding = sys.stderr.encoding or "ascii"
    try:
        sys.stderr.write(text.encode(encoding, "backslashreplace").decode(encoding))
        sys.stderr.flush()
    except OSError:
        return

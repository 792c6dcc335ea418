"""A program that paints on its terminal and then ends in one of the ways in which a run can end.

``python -m support.painting WAY``, on a terminal; ``python -m support.painting shell WAY`` puts it into a
process group of its own with a parent that waits for it, as a shell with job control does, so that it can be stopped.
"""

from __future__ import annotations

import fcntl
import os
import select
import signal
import subprocess
import sys
import termios
import time

from usbwatch.cli.endings import Ending, until_ended
from usbwatch.cli.live_screen import LiveScreen, live_screen
from usbwatch.cli.running import let_go
from usbwatch.cli.typed_line import Typed, typed_on
from usbwatch.show.lines import Line, Style, line

__all__ = ["FIRST", "SECOND", "page"]

FIRST = ("a page of two rows", "✗ GONE   Keyboard   1s")
SECOND = ("a page of two rows", "✗ GONE   Keyboard   2s")


def page(rows: tuple[str, ...]) -> list[Line]:
    return [line((rows[0], Style.STRONG)), line((rows[1][:7], Style.WRONG), rows[1][7:])]


def _painted(way: str) -> None:
    with until_ended() as ending, live_screen(sys.stdout, os.environ, sys.stdin) as shown:
        shown.paint(page(FIRST))
        shown.paint(page(SECOND))
        if way == "an error":
            raise RuntimeError(way)
        if way != "its end":
            _on_and_on(shown, ending)


def _on_and_on(shown: LiveScreen, ending: Ending) -> None:
    """Paint the size when asked to, and what was typed."""
    typed, told = Typed(), ""
    until = time.monotonic() + 60
    while time.monotonic() < until and not ending.wanted:
        width, height = shown.size()
        shown.paint([*page(SECOND), line(f"{width} x {height} {told}{typed.text}")])
        ready, _, _ = select.select([shown.wake, ending.wake, sys.stdin.fileno()], [], [], 60)
        if shown.wake in ready:
            shown.rest()
        ending.rest()
        if sys.stdin.fileno() in ready:
            typed, lines = typed_on(typed, os.read(sys.stdin.fileno(), 100))
            told = "".join(f"[{one}]" for one in lines) or told


def _as_a_shell(way: str) -> int:
    signal.signal(signal.SIGTTOU, signal.SIG_IGN)
    child = subprocess.Popen([sys.executable, "-m", "support.painting", way], process_group=0, restore_signals=True)
    os.tcsetpgrp(0, child.pid)
    while True:
        _, status = os.waitpid(child.pid, os.WUNTRACED)
        os.tcsetpgrp(0, os.getpgrp())
        if not os.WIFSTOPPED(status):
            return os.waitstatus_to_exitcode(status)
        sys.stdout.write("the shell has it\n")
        sys.stdout.flush()
        sys.stdin.readline()
        os.tcsetpgrp(0, child.pid)
        os.kill(child.pid, signal.SIGCONT)


if __name__ == "__main__":
    if os.getsid(0) == os.getpid():
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)  # the terminal's keys are this session's signals
    if sys.argv[1] == "shell":
        sys.exit(_as_a_shell(sys.argv[2]))
    try:
        _painted(sys.argv[1])
    finally:
        let_go()  # as the command does

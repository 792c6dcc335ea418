"""The countdown, the beeps and the blinking screen; none of it where nobody looks.

BEL is ECMA-48 section 8.3.3; reverse video of the whole screen is DECSCNM, private mode 5 (console_codes(4)).
"""

from __future__ import annotations

import os
import pty
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from support.kits import SHELLS, shells, stick_of

from usbwatch.kit.signals import DONE, FAILED, UNPOSTED, Pattern, Signals


def said(pattern: Pattern | None, *, wait: int = 0, terminal: bool = True, quiet: bool = False) -> tuple[str, float]:
    """What is written, and the seconds that it takes."""
    words: list[str] = []
    slept: list[float] = []
    signals = Signals(words.append, terminal=terminal, quiet=quiet)
    signals.wait = slept.append
    signals.count_down(wait)
    if pattern:
        signals.sound(pattern)
    return "".join(words), sum(slept)


@pytest.mark.parametrize(("pattern", "beeps"), [(DONE, 6), (FAILED, 18), (UNPOSTED, 5)])
def test_what_became_of_it_sounds_different_and_leave_the_screen_as_it_was(
    pattern: Pattern, beeps: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "linux")
    written, seconds = said(pattern)
    assert written.count("\a") == beeps
    assert written.count("\033[?5h") == beeps
    assert written.rpartition("\033[?5")[2].startswith("l")
    assert re.sub(r"\a|\033\[\?5[hl]", "", written) == ""
    assert 3 < seconds < 8


def test_a_dumb_terminal_beeps_and_gets_no_escape(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert said(DONE)[0] == "\a" * 6


def test_nothing_sounds_where_nobody_looks() -> None:
    assert said(DONE, terminal=False) == ("", 0)
    assert said(FAILED, quiet=True) == ("", 0)


def test_the_countdown_waits_all_its_seconds_and_says_so() -> None:
    written, seconds = said(None, wait=30)
    assert seconds == 30
    assert re.findall(r"(\d+) s \r?(?!\w)", written)[:3] == ["30", "29", "28"]
    assert written.splitlines()[0].startswith("Capturing in 30 s. Take out now what is not part of the unit")
    assert said(None, wait=30, terminal=False)[0].count("\n") == 1
    assert said(None, wait=30, quiet=True) == ("", 30)
    assert said(None) == ("", 0)


_AT_ONCE = (
    "import runpy, sys, time; time.sleep = lambda seconds: None; sys.argv.pop(0); "
    "runpy.run_path(sys.argv[0], run_name='__main__')"
)
COMMANDS = {
    "python": (sys.executable, "-c", _AT_ONCE, "capture.py"),
    "shell": (*SHELLS[shells()[0]], "capture.sh", "--shell"),
}


@pytest.mark.parametrize("way", COMMANDS)
@pytest.mark.parametrize(("root", "beeps"), [("tree", 6), ("nowhere", 18)])
def test_on_a_terminal(way: str, root: str, beeps: int, kit: Path, tmp_path: Path) -> None:
    """All that is shown; the pauses between are not waited for, their lengths are looked at above."""
    stick = stick_of(kit, tmp_path / "stick")
    (stick / "tree/sys/bus/usb/devices").mkdir(parents=True)
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin/sleep").write_text("#!/bin/sh\n")
    (tmp_path / "bin/sleep").chmod(0o755)
    path = f"{tmp_path / 'bin'}:{os.environ['PATH']}"
    shown, code = on_terminal([*COMMANDS[way], "--root", root, "--wait", "2"], stick, path)
    assert code == (0 if root == "tree" else 3)
    assert shown.count("\a") == beeps
    assert shown.count("\033[?5h") == beeps
    assert shown.rpartition("\033[?5")[2].startswith("l")
    assert ("   2 s " in shown, "   1 s " in shown) == (root == "tree", root == "tree")
    assert re.sub(r"\a|\r|\033\[\?5[hl]", "", shown).replace("\n", "").isprintable()


def test_what_is_saved_sounds_done_first_and_then_not_posted(kit: Path, tmp_path: Path) -> None:
    """A bench that nobody listens at: RFC 9293 section 3.10.7.1, a closed port answers with a reset."""
    stick = stick_of(kit, tmp_path / "stick")
    (stick / "tree/sys/bus/usb/devices").mkdir(parents=True)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    (stick / "post-to.txt").write_text(f"127.0.0.1:{port}\r\nK7PM-4RTX\r\n")
    shown, code = on_terminal([*COMMANDS["python"], "--root", "tree"], stick, os.environ["PATH"])
    assert code == 4
    before, trying, after = shown.partition("Trying to reach the bench at 127.0.0.1:")
    assert trying
    assert (before.count("\a"), after.count("\a")) == (6, 5)
    assert re.search(
        r"saved and was not posted: nobody listens at .*\s+At the bench computer: usbwatch check \S+\.json", after
    )


def on_terminal(command: list[str], folder: Path, path: str) -> tuple[str, int]:
    """What a command writes to a terminal of its own, and its exit code."""
    above, below = pty.openpty()
    environ = {**os.environ, "TERM": "linux", "PATH": path}
    process = subprocess.Popen(command, stdin=below, stdout=below, stderr=below, cwd=folder, env=environ)
    os.close(below)
    pieces: list[bytes] = []
    while True:
        try:
            piece = os.read(above, 4096)
        except OSError:  # EIO: the other end was closed (pty(7))
            break
        if not piece:
            break
        pieces.append(piece)
    os.close(above)
    return b"".join(pieces).decode(), process.wait(60)

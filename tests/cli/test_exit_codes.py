"""Each exit code means one thing, seen from outside: the command is run as a user or a script runs it.

Codes 130 and 141 are what a POSIX shell reports for SIGINT and SIGPIPE (POSIX.1-2024, XCU 2.8.2: above 128).
"""

from __future__ import annotations

import fcntl
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest
from support.bench import clean_environment, lay_out, run, small_tree


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    small_tree(tmp_path / "tree")
    return lay_out(tmp_path)


CASES = {
    "help": (["--help"], 0),
    "version": (["--version"], 0),
    "whole": (["check", "whole.json"], 0),
    "whole, as JSON": (["check", "whole.json", "--json"], 0),
    "no change": (["diff", "whole.json", "whole.json"], 0),
    "list": (["profile", "list"], 0),
    "show": (["profile", "show", "plover-small"], 0),
    "sound profile": (["profile", "validate", "profiles/plover-small.toml"], 0),
    "capture": (["capture", "--root", "tree"], 0),
    "missing": (["check", "lost.json"], 10),
    "missing, as JSON": (["check", "lost.json", "--json"], 10),
    "failed hand check": (["check", "whole.json", "--answer", "caps-light=no"], 10),
    "changed": (["diff", "whole.json", "lost.json"], 10),
    "unseen": (["check", "unseen.json"], 11),
    "unseen in a copied tree": (["check", "--root", "tree"], 11),
    "the worst of several: missing over unseen": (["check", "whole.json", "lost.json", "unseen.json"], 10),
    "the worst of several: unseen over whole": (["check", "unseen.json", "whole.json"], 11),
    "the worst of several: bad over all": (["check", "lost.json", "broken.json", "whole.json"], 3),
    "no command": ([], 2),
    "unknown command": (["chek"], 2),
    "unknown option": (["check", "--fast"], 2),
    "unknown hand check": (["check", "whole.json", "--answer", "caps-lite=yes"], 2),
    "answer of a wrong form": (["check", "whole.json", "--answer", "caps-light=maybe"], 2),
    "capture and root": (["check", "whole.json", "--root", "tree"], 2),
    "one file too few": (["diff", "whole.json"], 2),
    "no such file": (["check", "nothing.json"], 3),
    "broken file": (["check", "broken.json"], 3),
    "broken file, as JSON": (["check", "broken.json", "--json"], 3),
    "no profile fits, so the generic one": (["check", "stranger.json"], 10),
    "no such profile": (["check", "whole.json", "--profile", "nothing"], 3),
    "no such tree": (["check", "--root", "nothing"], 3),
    "no such log": (["capture", "--root", "tree", "--log", "nothing"], 3),
    "faulty profile": (["profile", "validate", "profiles/plover-small.toml", "broken.json"], 3),
    "output is there": (["capture", "--root", "tree", "-o", "whole.json"], 3),
    "output cannot be": (["capture", "--root", "tree", "-o", "nowhere/whole.json"], 3),
}


@pytest.mark.parametrize(("arguments", "code"), CASES.values(), ids=CASES.keys())
def test_exit_code(bench: Path, arguments: list[str], code: int) -> None:
    done = run(bench, *arguments)
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    if code in (2, 3) and len([one for one in arguments if one.endswith(".json")]) < 2 and arguments[:1] != ["profile"]:
        assert done.stdout == ""
        assert done.stderr != ""


def test_one_bad_file_does_not_end_the_run(bench: Path) -> None:
    done = run(bench, "check", "broken.json", "lost.json")
    assert "capture broken.json: is no JSON document" in done.stderr
    assert "1 of 2 expected devices is missing" in done.stdout


def test_our_own_bug_is_1_and_one_sentence(bench: Path) -> None:
    (bench / "sitecustomize.py").write_text(
        "import usbwatch.show.verdict as o\n"
        "def broken(findings):\n    raise KeyError('a bug \\x1b[2J')\n"
        "o.outcome = broken\n"
        "import usbwatch.show as s\ns.outcome = broken\n",
        encoding="utf-8",
    )
    path = os.pathsep.join([str(bench), str(Path(__file__).parents[2])])
    done = run(bench, "check", "whole.json", PYTHONPATH=path)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "this is a bug in usbwatch itself: KeyError: 'a bug" in done.stderr
    assert "\x1b" not in done.stderr
    debugged = run(bench, "--debug", "check", "whole.json", PYTHONPATH=path)
    assert debugged.returncode == 1
    assert "Traceback (most recent call last)" in debugged.stderr
    assert "Traceback" in run(bench, "check", "whole.json", PYTHONPATH=path, USBWATCH_DEBUG="1").stderr


def test_a_bad_file_shows_where_only_when_debugging(bench: Path) -> None:
    assert "Traceback" in run(bench, "--debug", "check", "broken.json").stderr
    assert run(bench, "--debug", "check", "broken.json").returncode == 3


@pytest.mark.parametrize("arguments", [["check", "lost.json"], ["profile", "show", "plover-small"], ["--help"]])
def test_a_closed_pipe_is_quiet(bench: Path, arguments: list[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "usbwatch", *arguments],
            cwd=bench,
            env=clean_environment(bench),
            stdout=writing,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (141, b"")


def test_an_interrupt_is_130_and_no_traceback(bench: Path) -> None:
    reading, writing = os.pipe()
    os.write(writing, b"{")
    try:
        with subprocess.Popen(
            [sys.executable, "-m", "usbwatch", "check", "-"],
            cwd=bench,
            env=clean_environment(bench),
            stdin=reading,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        ) as waiting:
            while waiting.poll() is None and _unread(reading):
                time.sleep(0.02)  # it has not come to read its input yet
            waiting.send_signal(signal.SIGINT)
            out, err = waiting.communicate(timeout=30)
    finally:
        os.close(reading)
        os.close(writing)
    assert (waiting.returncode, out) == (130, b"")
    assert err.decode().strip() == "usbwatch: interrupted."


def _unread(pipe: int) -> int:
    """Bytes that wait in a pipe (FIONREAD, ioctl_tty(2))."""
    (count,) = struct.unpack("i", fcntl.ioctl(pipe, termios.FIONREAD, b"\0" * 4))
    return int(count)


@pytest.mark.parametrize(
    ("names", "code", "told"),
    [
        (["stranger.json"], 0, "Whole: all 2 expected devices are present"),
        (["stranger.json", "whole.json"], 10, "profile generic-clamshell"),
    ],
    ids=["one", "several"],
)
def test_on_a_terminal_the_profile_is_asked_for_of_one_capture(
    bench: Path, names: list[str], code: int, told: str
) -> None:
    """Of several nobody is asked, whether they are worked on in this process or by all cores."""
    screen, theirs = pty.openpty()
    try:
        with subprocess.Popen(
            [sys.executable, "-m", "usbwatch", "check", *names],
            cwd=bench,
            env=clean_environment(bench),
            stdin=theirs,
            stdout=subprocess.PIPE,
            stderr=theirs,
        ) as asking:
            os.write(screen, b"plover-small\n")
            out, _ = asking.communicate(timeout=60)
        said = os.read(screen, 65536).decode()
    finally:
        os.close(theirs)
        os.close(screen)
    assert "no profile fits Ostrey Nothing known" in said
    assert ("Profile [" in said) == (len(names) == 1)
    assert asking.returncode == code
    assert told in out.decode()

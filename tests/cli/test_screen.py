"""Where output goes, how wide it is, and when it has colours."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.bench import clean_environment, lay_out, run

from usbwatch.cli.screen import say, screen

SGR = re.compile(r"\x1b\[[0-9;]*m")


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


class Piped(Terminal):
    """A stream that is none."""

    def isatty(self) -> bool:
        return False


COLOURS = {
    "terminal": (Terminal(), {"TERM": "xterm"}, True),
    "pipe": (Piped(), {"TERM": "xterm"}, False),
    "NO_COLOR on a terminal": (Terminal(), {"NO_COLOR": "1"}, False),
    "empty NO_COLOR does not count (no-color.org)": (Terminal(), {"NO_COLOR": ""}, True),
    "TERM=dumb": (Terminal(), {"TERM": "dumb"}, False),
    "FORCE_COLOR into a pipe": (Piped(), {"FORCE_COLOR": "1"}, True),
    "NO_COLOR beats FORCE_COLOR": (Piped(), {"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
    "TERM=dumb beats FORCE_COLOR": (Piped(), {"FORCE_COLOR": "1", "TERM": "dumb"}, False),
}


@pytest.mark.parametrize(("stream", "environ", "colours"), COLOURS.values(), ids=COLOURS.keys())
def test_colours(stream: Terminal, environ: dict[str, str], colours: bool) -> None:
    assert screen(stream, environ).colours is colours


ENCODINGS = {"utf-8": False, "ascii": True, "latin-1": True, "nonsense": True}


@pytest.mark.parametrize(("encoding", "ascii_only"), ENCODINGS.items(), ids=ENCODINGS.keys())
def test_ascii_where_the_encoding_lacks_our_signs(encoding: str, ascii_only: bool) -> None:
    stream = Piped()
    stream.encoding = encoding
    assert screen(stream, {}).ascii_only is ascii_only


LOCALES = {
    "LC_ALL=C": ({"LC_ALL": "C", "LANG": "en_GB.UTF-8"}, True),
    "LC_ALL=POSIX": ({"LC_ALL": "POSIX"}, True),
    "LC_ALL=C.UTF-8": ({"LC_ALL": "C.UTF-8"}, False),
    "none is named": ({}, False),
    "Python is told an encoding": ({"LC_ALL": "C", "PYTHONIOENCODING": "utf-8"}, False),
}


@pytest.mark.parametrize(("environ", "ascii_only"), LOCALES.values(), ids=LOCALES.keys())
def test_ascii_where_the_locale_has_no_more(environ: dict[str, str], ascii_only: bool) -> None:
    assert screen(Piped(), environ).ascii_only is ascii_only


def test_a_bench_in_the_c_locale_gets_ascii(bench: Path) -> None:
    done = run(bench, "check", "lost.json", LC_ALL="C", PYTHONUTF8="")
    assert done.stdout.isascii()
    assert "X MISSING     Keyboard" in done.stdout


@pytest.mark.parametrize(("columns", "width"), [("60", 60), ("20", 40), ("500", 120)])
def test_columns_are_honoured_within_reason(columns: str, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert screen(Piped(), {}).width == width


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    return lay_out(tmp_path)


def on_a_terminal(bench: Path, **environ: str) -> str:
    """What a check prints when its standard output is a terminal."""
    screen_end, their_end = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "usbwatch", "check", "lost.json"],
        cwd=bench,
        env=clean_environment(bench, **environ),
        stdin=subprocess.DEVNULL,
        stdout=their_end,
        stderr=subprocess.DEVNULL,
    ):
        os.close(their_end)
        shown = b"".join(_pieces(screen_end))
    os.close(screen_end)
    return shown.decode()


def _pieces(terminal: int) -> Iterator[bytes]:
    """All that is written to a terminal; reading on fails with EIO once nobody can write any more (Linux, pty(7))."""
    with contextlib.suppress(OSError):
        while piece := os.read(terminal, 1 << 16):
            yield piece


def test_a_terminal_gets_colours_and_the_same_words(bench: Path) -> None:
    shown = on_a_terminal(bench, TERM="xterm-256color", COLUMNS="80")
    assert "\x1b[1;37;41m" in shown
    words = [row.rstrip() for row in SGR.sub("", shown).replace("\r\n", "\n").splitlines()]
    piped = run(bench, "check", "lost.json", COLUMNS="80").stdout.splitlines()
    assert words == piped
    assert len(words) > 20


@pytest.mark.parametrize("environ", [{"NO_COLOR": "1", "TERM": "xterm"}, {"TERM": "dumb"}], ids=["NO_COLOR", "dumb"])
def test_a_terminal_without_colours_gets_no_escape_sequence(bench: Path, environ: dict[str, str]) -> None:
    assert "\x1b" not in on_a_terminal(bench, **environ)


def test_a_pipe_gets_none_either_unless_forced(bench: Path) -> None:
    assert "\x1b" not in run(bench, "check", "lost.json").stdout
    assert "\x1b[1;37;41m" in run(bench, "check", "lost.json", FORCE_COLOR="1").stdout


def test_json_never_has_an_escape_sequence(bench: Path) -> None:
    assert "\x1b" not in run(bench, "check", "lost.json", "--json", FORCE_COLOR="1").stdout


def test_an_ascii_stream_gets_ascii(bench: Path) -> None:
    done = run(bench, "check", "lost.json", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.stdout.isascii()
    assert "X MISSING     Keyboard" in done.stdout


def test_a_full_disk_is_said_and_is_no_bug_of_ours(bench: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "usbwatch", "check", "lost.json"],
            cwd=bench,
            env=clean_environment(bench),
            stdout=full,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    assert done.returncode == 3
    assert done.stderr.decode() == "usbwatch: output standard output: cannot be written (No space left on device).\n"


def test_a_closed_output_is_no_bug_of_ours(bench: Path) -> None:
    command = f"'{sys.executable}' -m usbwatch check lost.json >&-"
    done = subprocess.run(
        ["/bin/sh", "-c", command],
        cwd=bench,
        env=clean_environment(bench),
        stderr=subprocess.PIPE,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (10, b"")


def test_talk_on_a_terminal_breaks_no_word(monkeypatch: pytest.MonkeyPatch) -> None:
    text = "usbwatch: listening at http://192.168.7.1:7613/capture for whoever shows the code; it is not encrypted; x."
    long = "usbwatch: " + "/a-folder" * 12 + " is no folder"
    monkeypatch.setenv("COLUMNS", "80")
    for stream, pieces in ((Terminal(), 2), (Piped(), 1)):
        monkeypatch.setattr(sys, "stderr", stream)
        say(text)
        rows = stream.getvalue().splitlines()
        assert (len(rows), " ".join(row.strip() for row in rows)) == (pieces, text)
        assert pieces == 1 or max(map(len, rows)) <= 80
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    say(long)
    assert "/a-folder" * 12 in stream.getvalue().splitlines()[1]

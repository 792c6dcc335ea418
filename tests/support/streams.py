"""What one command prints on each kind of stream: pipes and terminals (pty(7)), with and without colours and signs."""

from __future__ import annotations

import io
import os
import pty
import re
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

import pytest

from usbwatch.cli import main

__all__ = ["SGR", "STREAMS", "Stream", "bare", "letters", "printed"]

SGR = re.compile(r"\x1b\[[0-9;]*m")
"""The one control sequence that a page may have (ECMA-48, 8.3.117)."""

_RULES = re.compile(r"[\s┄━=-]")
_STEERING = ("NO_COLOR", "FORCE_COLOR", "TERM", "COLUMNS")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """A kind of standard output, and what may stand in it."""

    terminal: bool
    encoding: str = "utf-8"
    environ: Mapping[str, str] = field(default_factory=dict)
    colours: bool = False

    @property
    def ascii_only(self) -> bool:
        """Whether its encoding lacks the program's signs."""
        return self.encoding != "utf-8"


_XTERM = {"TERM": "xterm-256color"}
STREAMS = {
    "pipe": Stream(terminal=False, environ=_XTERM),
    "terminal": Stream(terminal=True, environ=_XTERM, colours=True),
    "terminal, NO_COLOR": Stream(terminal=True, environ={**_XTERM, "NO_COLOR": "1"}),
    "dumb terminal": Stream(terminal=True, environ={"TERM": "dumb"}),
    "ASCII pipe": Stream(terminal=False, encoding="ascii", environ=_XTERM),
    "ASCII terminal": Stream(terminal=True, encoding="ascii", environ=_XTERM, colours=True),
    "Latin-1 pipe": Stream(terminal=False, encoding="latin-1", environ=_XTERM),
}


def printed(words: list[str], stream: Stream, width: int) -> str:
    """What the command prints on such a stream of ``width`` columns; it must end as a check does."""
    with pytest.MonkeyPatch.context() as patch:
        for name in _STEERING:
            patch.delenv(name, raising=False)
        for name, value in {**stream.environ, "COLUMNS": str(width)}.items():
            patch.setenv(name, value)
        with _terminal() if stream.terminal else _pipe() as (raw, taken):
            patch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=stream.encoding, newline="\n"))
            assert main(words) in (0, 10, 11)
        return taken[0].decode(stream.encoding)


@contextmanager
def _pipe() -> Iterator[tuple[io.BytesIO, list[bytes]]]:
    raw, taken = io.BytesIO(), [b""]
    yield raw, taken
    taken[0] = raw.getvalue()


@contextmanager
def _terminal() -> Iterator[tuple[io.BufferedWriter, list[bytes]]]:
    screen_end, their_end = pty.openpty()
    pieces: list[bytes] = []
    reader = threading.Thread(target=_read, args=(screen_end, pieces))
    reader.start()
    taken = [b""]
    with open(their_end, "wb") as raw:  # noqa: PTH123 - a descriptor, not a path
        yield raw, taken
    reader.join()
    os.close(screen_end)
    taken[0] = b"".join(pieces).replace(b"\r\n", b"\n")


def _read(screen_end: int, pieces: list[bytes]) -> None:
    """Until nobody can write any more; reading on then fails with EIO (Linux, pty(7))."""
    with suppress(OSError):
        while piece := os.read(screen_end, 1 << 16):
            pieces.append(piece)


def bare(text: str) -> list[str]:
    """The rows without colours, and without the spaces with which a band of colour runs to the edge."""
    return [row.rstrip() for row in SGR.sub("", text).split("\n")]


def letters(text: str) -> str:
    """All that a page says, with line breaks, spaces, hyphens and rules taken out."""
    return _RULES.sub("", "".join(bare(text)))

"""The pages of check, diff, localise and unit on every width and kind of stream that a bench may have."""

from __future__ import annotations

import fcntl
import functools
import os
import pty
import re
import shlex
import shutil
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.bench import clean_environment
from support.casebook_page import PAGE, shown
from support.streams import SGR, STREAMS, bare, letters, printed

from usbwatch.cli import main
from usbwatch.show.lines import cells

_LOST, _AFTER = "captures/larch-13-top-case-lost.json", "captures/larch-13-after-top-case.json"
_SWAPPED = f"localise {_LOST} {_AFTER} --did swap:top-case"
VIEWS = {
    "a fault": (f"check {_LOST}", ["MISSING", "IMPAIRED", "present", "suspect, "]),
    "one unseen": ("check captures/heron-14-touchpad-silent.json", ["MISSING", "unseen", "present"]),
    "whole": ("check captures/larch-13-healthy.json", ["Whole: all 19", "present"]),
    "changes": (f"diff {_LOST} {_AFTER}", ["NEW"]),
    "suspects": (_SWAPPED, ["impaired", "speaks against"]),
    "suspects in full": (f"{_SWAPPED} --full", ["impaired", "speaks against"]),
    "a unit that returned": ("check LB-0001", ["ANOTHER ONE", "same", "cannot be told", "present"]),
    "a unit's history": ("unit show LB-0001", ["came back", "baseline", "closed"]),
    "the units": ("unit list", ["on the bench"]),
    "the models": ("unit history", ["1 closed case"]),
    "a model's history": ("unit history fernhill-larch-13", ["repaired"]),
}
"""By name, the command, and words that its page has on every stream."""

WIDTHS = (60, 80, 120, 200)
_WIDEST = 120
_RETURNED = '--at "2026-09-08 08:30"'

Printed = Callable[[str, str, int], str]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A bench with the shipped captures, and the casebook of docs/casebook.md when its unit has just come back."""
    folder = tmp_path_factory.mktemp("bench")
    shutil.copytree(PAGE.parents[1] / "captures", folder / "captures")
    (folder / "profiles").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("TZ", "UTC")
        time.tzset()
        patch.setenv("USBWATCH_BOOK", str(folder / "casebook.sqlite"))
        patch.setenv("USBWATCH_PROFILES", str(folder / "profiles"))
        patch.delenv("USBWATCH_BY", raising=False)
        for command, _ in shown(PAGE.read_text("utf-8")):
            assert main(shlex.split(command)[1:]) in (0, 10, 11), command
            if command.endswith(_RETURNED):
                break
        yield folder
    time.tzset()


@pytest.fixture(scope="module")
def page(bench: Path) -> Printed:  # noqa: ARG001 - the commands run on it
    @functools.cache
    def taken(view: str, stream: str, width: int) -> str:
        return printed(shlex.split(VIEWS[view][0]), STREAMS[stream], width)

    return taken


on_every_view = pytest.mark.parametrize("view", VIEWS)
at_every_width = pytest.mark.parametrize("width", WIDTHS)
on_every_stream = pytest.mark.parametrize("stream", STREAMS)
on_every_page = pytest.mark.parametrize(
    ("stream", "width"),
    [
        *((stream, WIDTHS[0]) for stream in STREAMS),
        *((stream, width) for stream in ("pipe", "terminal", "ASCII terminal") for width in WIDTHS[1:]),
    ],
)
"""Every stream where room is scarcest, and the three that are written otherwise at every width."""


@on_every_page
@on_every_view
def test_no_line_is_wider_than_the_page(page: Printed, view: str, width: int, stream: str) -> None:
    rows = bare(page(view, stream, width))
    assert max(cells(row) for row in rows) <= min(width, _WIDEST)
    assert len([row for row in rows if row]) >= 1


@on_every_page
@on_every_view
def test_nothing_but_colours_is_ever_sent_and_those_only_to_a_terminal_that_takes_them(
    page: Printed, view: str, width: int, stream: str
) -> None:
    text = page(view, stream, width)
    assert all(row.isprintable() for row in bare(text))
    assert bool(SGR.search(text)) is STREAMS[stream].colours
    assert text.isascii() or not STREAMS[stream].ascii_only


@pytest.mark.parametrize("stream", ["terminal", "ASCII terminal"])
@on_every_view
def test_no_colour_is_left_on_at_the_end_of_a_line(page: Printed, view: str, stream: str) -> None:
    for row in page(view, stream, 80).split("\n"):
        assert [*SGR.findall(row), "\x1b[0m"][-1 if not SGR.search(row) else -2] == "\x1b[0m", row


@on_every_page
@on_every_view
def test_every_stream_gets_the_same_words_in_the_same_places(page: Printed, view: str, width: int, stream: str) -> None:
    pipe, other = bare(page(view, "pipe", width)), bare(page(view, stream, width))
    if STREAMS[stream].ascii_only:
        assert _words(pipe) == _words(other)
    else:
        assert pipe == other


def _words(rows: list[str]) -> list[str]:
    """The words and figures; our signs have other letters in ASCII (``X`` and ``EUR`` among them)."""
    return [word for word in re.findall(r"[0-9A-Za-z]+", "\n".join(rows)) if word not in ("X", "EUR")]


@on_every_stream
@on_every_view
def test_every_state_has_its_word(page: Printed, view: str, stream: str) -> None:
    flat = " ".join(" ".join(bare(page(view, stream, 60))).split())
    assert [word for word in VIEWS[view][1] if word not in flat] == []


_INKED = re.compile(r"\x1b\[(?:1;)?(3[123])m(.*?)\x1b\[0m")
"""Red, green or yellow letters on the page's own ground."""


def _inked(text: str) -> list[str]:
    """What stands in one colour in one row, row by row."""
    rows: list[dict[str, str]] = [{} for _ in text.split("\n")]
    for each, row in zip(rows, text.split("\n"), strict=True):
        for colour, said in _INKED.findall(row):
            each[colour] = each.get(colour, "") + said
    return [said for each in rows for said in each.values()]


@pytest.mark.parametrize("stream", ["terminal", "ASCII terminal"])
@at_every_width
@on_every_view
def test_what_is_in_a_colour_says_in_words_what_it_is(page: Printed, view: str, width: int, stream: str) -> None:
    inked = _inked(page(view, stream, width))
    assert [text for text in inked if not re.search(r"[A-Za-z]{2}", text)] == []


def test_states_are_in_colours_at_all(page: Printed) -> None:
    inked = _inked(page("one unseen", "terminal", 80))
    assert {word for text in inked for word in text.split()} >= {"MISSING", "unseen", "present"}


@pytest.mark.parametrize("stream", ["terminal", "ASCII terminal"])
@at_every_width
@pytest.mark.parametrize("view", ["a fault", "one unseen", "whole", "suspects", "a unit that returned"])
def test_the_band_of_the_verdict_has_no_hole(page: Printed, view: str, width: int, stream: str) -> None:
    rows = [row for row in page(view, stream, width).split("\n") if re.search(r"\x1b\[1;3\d;4\dm", row)]
    assert len(rows) >= 3
    for row in rows:
        assert len(SGR.findall(row)) % 2 == 0
        assert re.sub(r"\x1b\[1;3\d;4\dm.*?\x1b\[0m", "", row) == ""
        assert cells(SGR.sub("", row)) == min(width, _WIDEST)


@pytest.mark.parametrize("stream", ["pipe", "ASCII pipe"])
@pytest.mark.parametrize("width", [60, 120, 200])
@on_every_view
def test_every_width_tells_the_same_in_the_same_order(page: Printed, view: str, width: int, stream: str) -> None:
    assert letters(page(view, stream, width)) == letters(page(view, stream, 80))


@on_every_view
def test_a_page_is_never_wider_than_can_be_read(page: Printed, view: str) -> None:
    assert page(view, "terminal", 200) == page(view, "terminal", _WIDEST)


@on_every_view
def test_a_reader_that_stops_after_a_line_is_no_error(bench: Path, view: str) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "usbwatch", *shlex.split(VIEWS[view][0])],
        cwd=bench,
        env=clean_environment(bench),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        assert running.stdout.readline().strip()
        running.stdout.close()
        said = running.stderr.read()
    assert (running.returncode in (0, 10, 11, 141), said) == (True, b"")


@at_every_width
def test_the_terminals_own_width_is_the_pages(bench: Path, page: Printed, width: int) -> None:
    """The window's size as the kernel has it (TIOCSWINSZ, ioctl_tty(2)), and no COLUMNS."""
    screen_end, their_end = pty.openpty()
    fcntl.ioctl(their_end, termios.TIOCSWINSZ, struct.pack("HHHH", 50, width, 0, 0))
    done = subprocess.run(
        [sys.executable, "-m", "usbwatch", *shlex.split(VIEWS["changes"][0])],
        cwd=bench,
        env=clean_environment(bench, TERM="xterm-256color"),
        stdin=subprocess.DEVNULL,
        stdout=their_end,
        stderr=subprocess.PIPE,
        timeout=60,
        check=False,
    )
    os.close(their_end)
    shown_there = os.read(screen_end, 1 << 16).decode()
    os.close(screen_end)
    assert (done.returncode, done.stderr) == (10, b"")
    assert shown_there.replace("\r\n", "\n") == page("changes", "terminal", width)

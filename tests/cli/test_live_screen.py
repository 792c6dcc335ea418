"""What a terminal shows while a page is painted on it, and that it is given back however the run ends.

The programs run on a real pseudo-terminal of the kernel. What its screen then shows is worked out by pyte, an emulator
of a terminal by ECMA-48 and DEC's manuals; how its line is set, by the kernel (termios(3)).
"""

from __future__ import annotations

import fcntl
import io
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pyte
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.bench import clean_environment
from support.painting import FIRST, SECOND, page
from support.watch_scenes import MARKS, flexed, watched

from usbwatch.cli import live_screen
from usbwatch.cli.live_screen import LiveScreen, can_paint
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.watch_view import frame

TESTS = Path(__file__).parents[1]
HIDE, SHOW = b"\x1b[?25l", b"\x1b[?25h"
OTHER, OWN = b"\x1b[?1049h", b"\x1b[?1049l"


class Terminal:
    """A pseudo-terminal with a program on it, and what it shows."""

    def __init__(self, folder: Path, *arguments: str, term: str = "xterm", **environ: str) -> None:
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        self.written = b""
        self._master, slave = pty.openpty()
        self.resize(80, 24)
        self.before = termios.tcgetattr(slave)
        self._slave = slave
        self._open = [self._master, slave]
        self.process = subprocess.Popen(
            [sys.executable, *arguments],
            stdin=slave,
            stdout=slave,
            stderr=subprocess.PIPE,
            start_new_session=True,
            env={**clean_environment(folder), "TERM": term, "LC_ALL": "C.UTF-8", "PYTHONPATH": str(TESTS), **environ},
        )

    def resize(self, width: int, height: int) -> None:
        fcntl.ioctl(self._master, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))
        self.screen.resize(height, width)

    def type(self, text: str) -> None:
        os.write(self._master, text.encode())

    def read(self, seconds: float = 0.05) -> None:
        os.set_blocking(self._master, False)
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                content = os.read(self._master, 65_536)
            except BlockingIOError:
                time.sleep(0.01)
                continue
            except OSError:  # nobody has the other end open any more
                return
            self.written += content
            self._stream.feed(content)

    def until(self, holds: Callable[[], bool]) -> None:
        """Read until something holds; a minute is more than any machine needs."""
        end = time.monotonic() + 60
        while not holds():
            assert time.monotonic() < end, "\n".join(self.rows)
            self.read()

    def until_shown(self, text: str) -> None:
        self.until(lambda: any(text in row for row in self.rows))

    @property
    def rows(self) -> list[str]:
        return [row.rstrip() for row in self.screen.display]

    def ended(self) -> int:
        self.until(lambda: self.process.poll() is not None)
        self.read(0.1)
        return self.process.returncode

    @property
    def line(self) -> list[object]:
        return termios.tcgetattr(self._slave)

    def hang_up(self) -> None:
        """The other end is gone: the kernel sends SIGHUP to the session, and nothing can be written any more."""
        os.close(self._master)
        self._open = [self._slave]

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate()
        for end in self._open:
            os.close(end)

    def assert_given_back(self) -> None:
        assert self.line == self.before
        assert not self.screen.cursor.hidden
        assert self.written.rindex(SHOW) > self.written.rindex(HIDE)
        assert self.written.rindex(OWN) > self.written.rindex(OTHER)


@pytest.fixture
def painting(tmp_path: Path) -> Iterator[Callable[..., Terminal]]:
    opened: list[Terminal] = []

    def start(*arguments: str, **more: str) -> Terminal:
        opened.append(Terminal(tmp_path, "-m", "support.painting", *arguments, **more))
        return opened[-1]

    yield start
    for one in opened:
        one.close()


Painting = Callable[..., Terminal]


def _going(terminal: Terminal) -> Terminal:
    terminal.until_shown("80 x 24")
    assert terminal.rows[:2] == list(SECOND)
    assert terminal.screen.cursor.hidden
    return terminal


def test_the_end_of_a_run_gives_the_terminal_back(painting: Painting) -> None:
    terminal = painting("its end")
    assert terminal.ended() == 0
    terminal.assert_given_back()


def test_an_error_gives_the_terminal_back_before_it_is_told(painting: Painting) -> None:
    terminal = painting("an error")
    assert terminal.ended() == 1
    terminal.assert_given_back()


@pytest.mark.parametrize(
    "number",
    [signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGUSR1, signal.SIGUSR2],
    ids=lambda one: one.name,
)
def test_a_signal_gives_the_terminal_back(painting: Painting, number: signal.Signals) -> None:
    terminal = _going(painting("goes on"))
    os.kill(terminal.process.pid, number)
    assert terminal.ended() == 0
    terminal.assert_given_back()


def test_a_line_that_hangs_up_ends_the_run(painting: Painting) -> None:
    terminal = _going(painting("goes on"))
    terminal.hang_up()
    assert terminal.process.wait(60) in (0, 1)  # 1: it was about to write, which fails (EIO)


@pytest.mark.parametrize("key", ["\x03", "\x1c"], ids=["Ctrl-C", "Ctrl-backslash"])
def test_the_keys_that_end_a_run_give_the_terminal_back(painting: Painting, key: str) -> None:
    terminal = _going(painting("goes on"))
    terminal.type(key)
    assert terminal.ended() == 0
    terminal.assert_given_back()


def test_ctrl_z_lends_the_terminal_to_the_shell_and_takes_it_again(painting: Painting) -> None:
    terminal = _going(painting("shell", "goes on"))
    terminal.type("\x1a")
    terminal.until(lambda: b"the shell has it" in terminal.written)
    terminal.assert_given_back()
    so_far = len(terminal.written)
    terminal.type("\n")
    terminal.until(lambda: HIDE in terminal.written[so_far:])
    _going(terminal)
    terminal.type("\x03")
    assert terminal.ended() == 0
    terminal.assert_given_back()


def test_a_ctrl_z_while_a_page_is_worked_out_waits_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The handler runs between any two steps of ours (signal, "Execution of Python signal handlers")."""
    terminal = _Page()
    shown = LiveScreen(terminal, {"TERM": "xterm"})
    shown.enter()
    shown.paint(page(FIRST))
    order: list[str] = []
    difference: Callable[..., str] = live_screen._difference

    def with_a_stop(*arguments: object, **more: object) -> str:
        order.append("worked out")
        shown.stopped(signal.SIGTSTP, None)
        return difference(*arguments, **more)

    def stopped(_pid: int, _number: int) -> None:
        order.append("stopped")

    monkeypatch.setattr(live_screen, "_difference", with_a_stop)
    monkeypatch.setattr(os, "kill", stopped)
    shown.paint(page(SECOND))
    assert order == ["worked out", "stopped"]
    assert shown.is_blank
    monkeypatch.setattr(live_screen, "_difference", difference)
    shown.paint(page(SECOND))
    anew = terminal.getvalue().rpartition("\x1b[2J")[2]
    assert SECOND[0] in anew, "the next page is a whole one"
    shown.close()


def test_another_size_is_noticed_at_once_and_painted_whole(painting: Painting) -> None:
    terminal = _going(painting("goes on"))
    terminal.resize(50, 10)
    terminal.until_shown("50 x 10")
    assert terminal.rows[:2] == list(SECOND)


def test_what_is_typed_is_not_echoed_and_comes_letter_by_letter(painting: Painting) -> None:
    terminal = _going(painting("goes on"))
    terminal.type("hi")
    terminal.until_shown("80 x 24 hi")
    terminal.type("\x7f\x1b[A\x1b[3~ n\n")
    terminal.until_shown("80 x 24 [h n]")
    assert [row for row in terminal.rows if row] == [*SECOND, "80 x 24 [h n]"]


def test_a_terminal_without_another_screen_keeps_the_page_and_goes_on_below_it(painting: Painting) -> None:
    terminal = painting("its end", term="vt100")
    assert terminal.ended() == 0
    assert OTHER not in terminal.written
    assert terminal.rows[0] == SECOND[1]  # one row up, for the shell's own
    assert (terminal.screen.cursor.x, terminal.screen.cursor.y) == (0, 23)
    assert terminal.line == terminal.before


def test_colours_are_left_out_where_nobody_wants_them(painting: Painting) -> None:
    coloured, plain = painting("its end"), painting("its end", NO_COLOR="1")
    for one in (coloured, plain):
        assert one.ended() == 0
    assert b"\x1b[1;31m" in coloured.written
    assert b"\x1b[1;31m" not in plain.written
    assert "✗ GONE".encode() in plain.written


@pytest.mark.parametrize("term", ["dumb", "", "unknown"])
def test_a_terminal_that_cannot_move_its_cursor_gets_no_page(term: str) -> None:
    assert not can_paint(_Page(), {"TERM": term})
    assert can_paint(_Page(), {"TERM": "vt100"})
    assert not can_paint(_Page(), {})


def test_a_pipe_gets_no_page() -> None:
    assert not can_paint(io.StringIO(), {"TERM": "xterm"})


# --- Only what changed --------------------------------------------------------


class _Page(io.StringIO):
    """A terminal of our own in memory."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return -1


class Sheet:
    """A painter, and a terminal that reads what it writes."""

    def __init__(self, width: int = 80, height: int = 24) -> None:
        self.out = _Page()
        self.painter = LiveScreen(self.out, {"TERM": "xterm"})
        self.painter.size = lambda: (width, height)  # type: ignore[method-assign]
        self.screen = pyte.Screen(width, height)
        self.stream = pyte.Stream(self.screen)

    def paint(self, lines: list[Line]) -> int:
        count = self.painter.paint(lines)
        self.stream.feed(self.out.getvalue())
        self.out.seek(0)
        self.out.truncate()
        return count

    @property
    def rows(self) -> list[str]:
        return [row.rstrip() for row in self.screen.display]


def test_a_page_that_did_not_change_writes_nothing() -> None:
    sheet = Sheet()
    sheet.paint(page(SECOND))
    assert sheet.paint(page(SECOND)) == 0


def test_only_the_columns_that_differ_are_written() -> None:
    sheet = Sheet()
    sheet.paint([line("a" * 40), line("seconds 11 of many, many more")])
    assert sheet.paint([line("a" * 40), line("seconds 12 of many, many more")]) == len("\x1b[2;10H2")


def test_a_second_of_a_quiet_watch_is_a_small_part_of_what_a_serial_line_carries() -> None:
    """9600 baud are 960 letters a second, with one start and one stop bit for each eight (EIA-232)."""
    sheet = Sheet()
    sheet.paint(frame(watched(flexed(), 104_000, marks=MARKS), 80, 24))
    written = [sheet.paint(frame(watched(flexed(), 104_000 + 1_000 * at), 80, 24)) for at in range(1, 21)]
    assert sum(written[1:]) / len(written[1:]) < 960 / 4


_TEXT = st.text(st.sampled_from("ab ✗─…漢é"), max_size=12)
_SPANS = st.lists(st.tuples(_TEXT, st.sampled_from(list(Style))), max_size=3)
_PAGES = st.lists(st.lists(_SPANS, max_size=5), min_size=1, max_size=5)


@pytest.mark.properties
@settings(deadline=None)
@given(pages=_PAGES)
def test_after_any_pages_the_terminal_shows_what_a_new_one_would(
    pages: list[list[list[tuple[str, Style]]]],
) -> None:
    """Whatever was there before: letters, colours and cells of two columns."""
    sheet, new = Sheet(80, 5), Sheet(80, 5)
    for one in pages:
        sheet.paint([line(*spans) for spans in one])
    new.paint([line(*spans) for spans in pages[-1]])
    assert sheet.screen.display == new.screen.display
    assert [dict(row) for row in _cells(sheet)] == [dict(row) for row in _cells(new)]


def _cells(sheet: Sheet) -> list[dict[int, object]]:
    """The cells that show something: an empty one has no look worth comparing."""
    return [
        {column: cell for column, cell in sheet.screen.buffer[row].items() if cell.data != " " or cell.bg != "default"}
        for row in range(5)
    ]

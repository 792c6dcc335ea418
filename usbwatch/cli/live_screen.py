"""Paints a page over and over on a terminal, writing only what changed, and gives the terminal back as it was.

A slow line (a serial console carries some 960 letters a second at 9600 baud)
gets only the columns that differ. What the terminal calls its other screen and
its hidden cursor comes from terminfo; positions, colours and erasing are ECMA-48.
"""

from __future__ import annotations

import functools
import os
import signal
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from types import FrameType
from typing import TYPE_CHECKING, Any, TextIO

from usbwatch.cli.screen import screen

if TYPE_CHECKING:
    from usbwatch.show import Line
    from usbwatch.show.lines import Style

__all__ = ["LiveScreen", "can_paint", "live_screen"]

_SMALLEST = (20, 6)
_USUAL = (80, 24)
_CLEAR, _ERASE_REST, _PLAIN = "\x1b[2J", "\x1b[K", "\x1b[0m"
"""ED and EL (8.3.39, 8.3.41), SGR 0 (8.3.117)."""


def can_paint(stream: TextIO, environ: Mapping[str, str]) -> bool:
    """Whether a page can be painted on ``stream``: a terminal that can move its cursor."""
    return stream.isatty() and environ.get("TERM", "dumb") not in ("", "dumb", "unknown")


class LiveScreen:
    """A terminal on which one page is shown at a time; made by ``live_screen``."""

    def __init__(self, stream: TextIO, environ: Mapping[str, str], keys: TextIO | None = None) -> None:
        its = screen(stream, environ)
        self.colours, self.ascii_only = its.colours, its.ascii_only
        self.wake: int
        """Readable when the page should be painted at once: the terminal has another size, or was given back to us."""
        self.wake, self._waker = os.pipe()
        self._stream, self._keys, self._terminal = stream, keys, _Terminal(stream, environ)
        self._shown: list[Line] | None = None
        self._shown_size = (0, 0)
        self._busy = 0
        self._stop_asked = self._on = False
        self._saved_keys: list[Any] | None = None
        for end in (self.wake, self._waker):
            os.set_blocking(end, False)

    def size(self) -> tuple[int, int]:
        """Columns and rows as they are now; 80 x 24 where a line does not tell."""
        try:
            width, height = os.get_terminal_size(self._stream.fileno())
        except OSError:
            width, height = _USUAL
        width, height = width or _USUAL[0], height or _USUAL[1]
        return max(width, _SMALLEST[0]), max(height, _SMALLEST[1])

    def rest(self) -> None:
        """Take what made ``wake`` readable off it."""
        with suppress(BlockingIOError):
            os.read(self.wake, 512)

    def paint(self, lines: Iterable[Line]) -> int:
        """Show a page made for ``size()``; the number of characters that had to be written for it."""
        with self._undisturbed():
            text = self._changes(list(lines))
            self._write(text)
        return len(text)

    @property
    def is_blank(self) -> bool:
        """Whether the terminal shows none of our pages: it was just taken, at first or again."""
        return self._shown is None

    def _changes(self, lines: list[Line]) -> str:
        from usbwatch.show import BLANK

        size = self.size()
        pieces: list[str] = []
        if self._shown is None or size != self._shown_size:
            pieces, self._shown = [_PLAIN, _CLEAR], []
        for number, line in enumerate(lines[: size[1]]):
            before = self._shown[number] if number < len(self._shown) else BLANK
            if before != line:
                pieces.append(_difference(_row(before), _row(line), number, colours=self.colours))
        pieces += [_at(number, 0) + _ERASE_REST for number in range(len(lines), len(self._shown))]
        self._shown, self._shown_size = lines, size
        return "".join(pieces)

    def ring(self) -> None:
        """Strike the terminal's bell once."""
        self._write("\a")

    def enter(self) -> None:
        """Take the terminal: the other screen, no cursor, and keys that are not echoed."""
        with self._undisturbed():
            self._on, self._shown = True, None
            self._quiet_keys()
            self._write(self._terminal.enter)

    def leave(self) -> None:
        """Give the terminal back as it was; what cannot be written any more (it was closed) is let go."""
        if not self._on:
            return
        self._on = False
        with suppress(OSError, ValueError):
            self._stream.write(f"{_PLAIN}{_at(self.size()[1] - 1, 0)}{self._terminal.leave}")
            self._stream.flush()
        self._loud_keys()

    def close(self) -> None:
        """Give the terminal back for good."""
        self.leave()
        os.close(self.wake)
        os.close(self._waker)

    def resized(self, _number: int, _frame: FrameType | None) -> None:
        """SIGWINCH: the page is to be made anew."""
        self._wake_up()

    def stopped(self, _number: int, _frame: FrameType | None) -> None:
        """SIGTSTP: the shell gets its terminal back as it was, now or after what is being written."""
        if self._busy:
            self._stop_asked = True
        else:
            self._stop()

    def _stop(self) -> None:
        self._stop_asked = False
        was_on = self._on
        self.leave()
        before = signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        os.kill(os.getpid(), signal.SIGTSTP)
        signal.signal(signal.SIGTSTP, before)  # here we go on, after SIGCONT
        if was_on:
            self.enter()
            self._wake_up()

    def _wake_up(self) -> None:
        with suppress(BlockingIOError):
            os.write(self._waker, b".")

    def _write(self, text: str) -> None:
        if not text:
            return
        encoding = self._stream.encoding or "ascii"
        with self._undisturbed():
            self._stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
            self._stream.flush()

    @contextmanager
    def _undisturbed(self) -> Iterator[None]:
        """Between what is shown and what we hold to be shown no Ctrl-Z falls: it is put off to the end."""
        self._busy += 1
        try:
            yield
        finally:
            self._busy -= 1
        if self._stop_asked and not self._busy:
            self._stop()

    def _quiet_keys(self) -> None:
        """Letter by letter and without echo; Ctrl-C and Ctrl-Z keep their meaning."""
        if self._keys is None or not self._keys.isatty():
            return
        import termios

        with suppress(termios.error):
            self._saved_keys = termios.tcgetattr(self._keys.fileno())
            quiet = termios.tcgetattr(self._keys.fileno())
            quiet[3] &= ~(termios.ICANON | termios.ECHO)
            termios.tcsetattr(self._keys.fileno(), termios.TCSADRAIN, quiet)

    def _loud_keys(self) -> None:
        if self._keys is None or self._saved_keys is None:
            return
        import termios

        with suppress(termios.error, OSError, ValueError):
            termios.tcsetattr(self._keys.fileno(), termios.TCSANOW, self._saved_keys)
        self._saved_keys = None


@contextmanager
def live_screen(stream: TextIO, environ: Mapping[str, str], keys: TextIO | None = None) -> Iterator[LiveScreen]:
    """A terminal taken over for as long as the context lasts; it is given back however that ends.

    ``keys``: where letters are typed, read by the caller. SIGTSTP gives the
    terminal back until SIGCONT; what ends a run is the caller's
    (``usbwatch.cli.endings``).
    """
    page = LiveScreen(stream, environ, keys)
    before = _handled(page)
    try:
        page.enter()
        yield page
    finally:
        page.leave()
        for number, handler in before.items():
            signal.signal(number, handler)
        page.close()


_Handler = Callable[[int, FrameType | None], object]


def _handled(page: LiveScreen) -> dict[int, Any]:
    """What handled the signals that we handle from now on, by their number."""
    ours: dict[int, _Handler] = {signal.SIGWINCH: page.resized}
    if signal.getsignal(signal.SIGTSTP) is signal.SIG_DFL:
        ours[signal.SIGTSTP] = page.stopped
    return {number: signal.signal(number, handler) for number, handler in ours.items()}


class _Terminal:
    """What a terminal is told at the beginning and at the end."""

    def __init__(self, stream: TextIO, environ: Mapping[str, str]) -> None:
        other, own = _capability(stream, environ, "smcup"), _capability(stream, environ, "rmcup")
        hide, show = _capability(stream, environ, "civis"), _capability(stream, environ, "cnorm")
        self.enter = f"{other}{hide}"
        # Without another screen the last page stays, and the shell goes on below it.
        self.leave = f"{show}{own}" if other and own else f"\r\n{show}"


def _capability(stream: TextIO, environ: Mapping[str, str], name: str) -> str:
    """A string of terminfo, "" where the terminal has none or is not known."""
    import curses

    try:
        curses.setupterm(environ.get("TERM", "dumb"), stream.fileno())
    except curses.error:
        return ""
    found = curses.tigetstr(name) or b""
    return found.decode("latin-1").partition("$<")[0]


_Cell = tuple[str, "Style"]
_Row = list[_Cell]


def _row(line: Line) -> _Row:
    return [(letter, span.style) for span in line.spans for letter in span.text]


def _at(row: int, column: int) -> str:
    """CUP (8.3.21): the cursor to a place, counted from 0."""
    return f"\x1b[{row + 1};{column + 1}H"


def _difference(before: _Row, after: _Row, number: int, *, colours: bool) -> str:
    """What makes one row into another: the stretches that differ; all of it where columns are not letters."""
    if not all(letter.isascii() or _single(letter) for letter, _ in (*before, *after)):
        return f"{_at(number, 0)}{_written(after, colours=colours)}{_ERASE_REST}"
    pieces = [
        f"{_at(number, start)}{_written(after[start:end], colours=colours)}" for start, end in _stretches(before, after)
    ]
    rest = f"{_at(number, len(after))}{_ERASE_REST}" if len(after) < len(before) else ""
    return "".join(pieces) + rest


_NEAR = 8
"""Stretches no further apart than this are written as one: to move the cursor takes as many characters."""


def _stretches(before: _Row, after: _Row) -> list[tuple[int, int]]:
    """Where the cells of ``after`` are not those of ``before``: first column of each stretch, and the one after it."""
    found: list[tuple[int, int]] = []
    for column, cell in enumerate(after):
        if column < len(before) and before[column] == cell:
            continue
        if found and column - found[-1][1] <= _NEAR:
            found[-1] = (found[-1][0], column + 1)
        else:
            found.append((column, column + 1))
    return found


@functools.lru_cache(maxsize=1_024)
def _single(letter: str) -> bool:
    """Whether a letter takes one column, so that columns can be counted in letters."""
    from usbwatch.show.lines import cells

    return cells(letter) == 1


def _written(row: _Row, *, colours: bool) -> str:
    from usbwatch.show.lines import Line, Span
    from usbwatch.show.writers import painted

    if not colours:
        return "".join(letter for letter, _ in row)
    spans: list[Span] = []
    for letter, style in row:
        if spans and spans[-1].style is style:
            spans[-1] = Span(text=spans[-1].text + letter, style=style)
        else:
            spans.append(Span(text=letter, style=style))
    return painted(Line(spans=tuple(spans)))

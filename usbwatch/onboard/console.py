"""The unit's own screen: a console of the kernel (console_codes(4)), on which one page is shown at a time."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

from usbwatch.onboard.handles import Handle
from usbwatch.show.lines import BLANK, Line, Style

__all__ = ["Console"]

_SMALLEST = (20, 8)
_USUAL = (80, 25)
_ENTER = "\x1b%G\x1b[0m\x1b[9;0]\x1b[?25l\x1b[2J"
"""UTF-8 mode, plain letters, never blanked, no cursor, an empty screen."""
_LEAVE = "\x1b[0m\x1b[?25h\r\n"
_LOCK = 0x560B
"""VT_LOCKSWITCH (linux/vt.h): a key that is stuck must not show another console."""
_UNLOCK = 0x560C

_LOOKS = {
    Style.PLAIN: "",
    Style.STRONG: "1",
    Style.FAINT: "",
    Style.HEADING: "1;36",
    Style.FINE: "1;32",
    Style.WRONG: "1;31",
    Style.UNSEEN: "1;33",
    Style.CAUTION: "1;33",
    Style.STAMP_FINE: "30;42",
    Style.STAMP_WRONG: "1;37;41",
    Style.STAMP_UNSEEN: "30;43",
}
"""SGR (ECMA-48, 8.3.117). Dim letters cannot be read across a bench, so what is faint is plain."""


class Console:
    """The screen, and the keys that come by way of it."""

    def __init__(self, path: str) -> None:
        self.handle = Handle(path)
        self._shown: list[Line] = []
        self._size = (0, 0)
        self.handle.make_raw()
        self.handle.write(_ENTER)
        self._ask(_LOCK)

    def _ask(self, what: int) -> None:
        import fcntl

        if self.handle.number is not None:
            with contextlib.suppress(OSError):  # no console of the kernel's
                fcntl.ioctl(self.handle.number, what)

    def size(self) -> tuple[int, int]:
        """Columns and rows as they are now: a driver of graphics that comes late changes them."""
        width, height = self.handle.size() or _USUAL
        return max(width, _SMALLEST[0]), max(height, _SMALLEST[1])

    def has_new_size(self) -> bool:
        """Whether the page has to be made anew."""
        return self.size() != self._size

    def paint(self, lines: Sequence[Line], *, whole: bool = False) -> None:
        """Show a page made for ``size()``; ``whole``: also where it is as before, for what wrote over it."""
        size = self.size()
        pieces = [] if size == self._size else ["\x1b[0m\x1b[2J"]
        before = self._shown if size == self._size else []
        for row in range(size[1]):
            its = lines[row] if row < len(lines) else BLANK
            if whole or row >= len(before) or before[row] != its:
                pieces.append(f"\x1b[{row + 1};1H{_written(its, size[0])}")
        self._shown, self._size = [*lines, *[BLANK] * (size[1] - len(lines))], size
        self.handle.write("".join(pieces))

    def leave(self) -> None:
        """Give the console back."""
        self._ask(_UNLOCK)
        self.handle.write(_LEAVE)
        self.handle.close()


_BANDS = (Style.STAMP_FINE, Style.STAMP_WRONG, Style.STAMP_UNSEEN)
"""Styles whose background runs to the edge of the page: erasing takes the background that is set (console_codes(4))."""


def _written(its: Line, width: int) -> str:
    """A row with its looks; the rest of it is erased, but not where the last column is taken (it would be lost)."""
    text = "".join(f"\x1b[0;{_LOOKS[span.style]}m{span.text}".replace("[0;m", "[0m") for span in its.spans)
    if len(its.text) >= width:
        return f"{text}\x1b[0m"
    is_band = bool(its.spans) and its.spans[-1].style in _BANDS
    return f"{text}\x1b[K\x1b[0m" if is_band else f"{text}\x1b[0m\x1b[K"

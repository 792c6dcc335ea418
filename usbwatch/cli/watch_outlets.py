"""How a watch is shown while it lasts: a page that is kept up to date, a line for each incident, or JSON lines."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

from usbwatch.cli.bell import Bell, heard, next_stroke_ms, struck
from usbwatch.cli.screen import page_width, screen, show, write
from usbwatch.model import Mark
from usbwatch.model.watch import GOOD

if TYPE_CHECKING:
    from usbwatch.cli.live_screen import LiveScreen
    from usbwatch.cli.sitting import News, Sitting
    from usbwatch.cli.typing import Keys
    from usbwatch.show.lines import Line
    from usbwatch.show.live_page import LivePage

__all__ = ["JsonOutlet", "LineOutlet", "Outlet", "PageOutlet", "outlet_for"]

_REPAINT_MS = 100
"""A log that is flooded wakes us a thousand times a second; a page is made no oftener than this without news."""
_UNBROKEN = 10_000
"""Columns of a line that is not to be wrapped."""


class Outlet(Protocol):
    """Where a watch is shown."""

    def begin(self, watched: LivePage) -> None:
        """Say what is watched."""

    def tell(self, news: News, watched: LivePage) -> None:
        """Tell of one incident or mark."""

    def moment(self, sitting: Sitting) -> None:
        """Show how it stands: called at least once a second."""

    @property
    def next_ms(self) -> int | None:
        """When ``moment`` is to be called at the latest; None where nothing waits for it."""

    def end(self, watched: LivePage, record: str) -> None:
        """Show what it came to; ``record`` is the file that keeps it, "" for none."""


class LineOutlet:
    """A line for each incident and mark, and the summary at the end."""

    def __init__(self, *, bell: bool = False) -> None:
        self._rings = bell and sys.stderr is not None and sys.stderr.isatty()
        self._bell = Bell()

    def begin(self, watched: LivePage) -> None:
        """One line: what is watched, what is not, and by what."""
        from usbwatch.show.watch_opening import opening_line

        self._print(opening_line(watched))

    def tell(self, news: News, watched: LivePage) -> None:
        """One line."""
        from usbwatch.show.watch_marks import mark_line
        from usbwatch.show.watch_words import event_line

        if isinstance(news, Mark):
            told = mark_line(news, watched.marks.index(news) + 1, watched.began)
        else:
            told = event_line(news, watched.profile, watched.began)
        self._print(told)
        if self._rings and _rings_for(news):
            self._bell = heard(self._bell, gone=_is_bad(news), now_ms=watched.now_ms)

    @staticmethod
    def _print(told: Line) -> None:
        from usbwatch.show import coloured, plain

        its = screen(sys.stdout, os.environ)
        write((coloured if its.colours else plain)((told,), _UNBROKEN, ascii_only=its.ascii_only))

    def moment(self, sitting: Sitting) -> None:
        """The bell, when it is to be struck; a line is printed when something happens."""
        self._bell, now = struck(self._bell, sitting.now_ms())
        if now:
            write("\a", err=True)

    @property
    def next_ms(self) -> int | None:
        """When the bell is to be struck next."""
        return next_stroke_ms(self._bell)

    def end(self, watched: LivePage, record: str) -> None:
        """The summary."""
        from usbwatch.cli.watch_memory import whereabouts
        from usbwatch.show.watch_summary import summary

        show(summary(watched, page_width(), record, whereabouts(record) if record else ""))


class PageOutlet:
    """A page that is kept up to date, and the summary when the terminal is given back."""

    def __init__(self, page: LiveScreen, keys: Keys, *, bell: bool) -> None:
        self._page = page
        self._keys = keys
        self._rings = bell
        self._bell = Bell()
        self._painted_ms = 0
        self._typed = ""

    def begin(self, watched: LivePage) -> None:
        """The first page."""
        self._paint(watched)

    def tell(self, news: News, watched: LivePage) -> None:
        """The page with what is new, and the bell."""
        if self._rings and _rings_for(news):
            self._bell = heard(self._bell, gone=_is_bad(news), now_ms=watched.now_ms)
        self._paint(watched)

    def moment(self, sitting: Sitting) -> None:
        """The page as it is now."""
        self._page.rest()
        self._bell, now = struck(self._bell, sitting.now_ms())
        if now:
            self._page.ring()
        due = sitting.now_ms() - self._painted_ms >= _REPAINT_MS
        if due or self._page.is_blank or self._keys.text != self._typed:
            self._paint(sitting.watched())

    @property
    def next_ms(self) -> int | None:
        """When the bell is to be struck next."""
        return next_stroke_ms(self._bell)

    def end(self, watched: LivePage, record: str) -> None:
        """The summary, on the terminal that was given back."""
        LineOutlet().end(watched, record)

    def _paint(self, watched: LivePage) -> None:
        from usbwatch.show.watch_view import frame

        self._painted_ms, self._typed = watched.now_ms, self._keys.text
        width, height = self._page.size()
        can_type = self._keys.handle is not None
        lines = frame(watched, width, height, ascii_only=self._page.ascii_only, keys=can_type, typing=self._keys.text)
        self._page.paint(lines)


class JsonOutlet:
    """JSON lines: the beginning, each incident and mark, the end."""

    def begin(self, watched: LivePage) -> None:
        """What is watched, and how it stands."""
        from usbwatch.show.watch_json import begin_object, json_line

        write(json_line(begin_object(watched)))

    def tell(self, news: News, watched: LivePage) -> None:
        """One object."""
        from usbwatch.show.watch_json import event_object, json_line, mark_object

        if isinstance(news, Mark):
            told = mark_object(news, watched.marks.index(news) + 1, watched.began)
        else:
            told = event_object(news, watched.profile, watched.began)
        write(json_line(told))

    def moment(self, _sitting: Sitting) -> None:
        """Nothing: an object is printed when something happens."""

    @property
    def next_ms(self) -> int | None:
        """Nothing waits."""
        return None

    def end(self, watched: LivePage, record: str) -> None:
        """How it stands at the end, and on standard error where it is kept."""
        from usbwatch.cli.screen import say
        from usbwatch.show.watch_json import end_object, json_line

        write(json_line(end_object(watched)))
        if record:
            say(f"usbwatch: the watch is kept in {record}")


@contextmanager
def outlet_for(*, as_json: bool, lines: bool, bell: bool, keys: Keys) -> Iterator[Outlet]:
    """The outlet that was asked for; a page only where the terminal can show one, which is given back at the end."""
    from usbwatch.cli.live_screen import can_paint, live_screen

    if as_json:
        yield JsonOutlet()
    elif lines or sys.stdout is None or not can_paint(sys.stdout, os.environ):
        yield LineOutlet(bell=bell)
    else:
        with live_screen(sys.stdout, os.environ, sys.stdin if keys.handle is not None else None) as page:
            yield PageOutlet(page, keys, bell=bell)


def _is_bad(news: News) -> bool:
    return not isinstance(news, Mark) and news.change not in GOOD


def _rings_for(news: News) -> bool:
    """Marks and helper devices ring no bell."""
    from usbwatch.cli.sitting import concerns_the_unit

    return not isinstance(news, Mark) and concerns_the_unit(news)

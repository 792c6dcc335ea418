"""What the live page of a watch costs for each second: characters on the line, and processor time.

Run: ``PYTHONPATH=tests python -m benchmarks.watch_page``. A minute of a scripted watch of the demo's unit, painted once
a second on 80 x 24 and 120 x 50, with nothing happening and with a flex that opens. The peer is ``rich.live.Live``, a
general library that keeps a page up to date by writing all of it again; it gets the same lines.
"""

from __future__ import annotations

import io
import time

from support.watch_scenes import MARKS, flexed, watched

from usbwatch.cli.live_screen import LiveScreen
from usbwatch.model import WatchEvent
from usbwatch.show.lines import Line
from usbwatch.show.watch_view import frame

SECONDS = 60


class _Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True

    def fileno(self) -> int:
        return -1


def _pages(events: tuple[WatchEvent, ...], width: int, height: int) -> tuple[list[list[Line]], float]:
    """A page for each second, and the milliseconds that one takes to make."""
    frame(watched(events, 60_000), width, height)  # what is loaded when it is first asked for
    moments = [watched(events, 60_000 + 1_000 * second, marks=MARKS if events else ()) for second in range(SECONDS)]
    began = time.process_time()
    pages = [frame(one, width, height) for one in moments]
    return pages, 1_000 * (time.process_time() - began) / SECONDS


def _ours(pages: list[list[Line]], width: int, height: int) -> tuple[float, float]:
    painter = LiveScreen(_Terminal(), {"TERM": "xterm"})
    painter.size = lambda: (width, height)  # type: ignore[method-assign]
    painter.paint(pages[0])
    began = time.process_time()
    written = sum(painter.paint(page) for page in pages[1:])
    return written / (SECONDS - 1), 1_000 * (time.process_time() - began) / (SECONDS - 1)


def _peers(pages: list[list[Line]], width: int, height: int) -> tuple[float, float]:
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    texts = [Text("\n".join(line.text for line in page)) for page in pages]
    out = _Terminal()
    console = Console(file=out, force_terminal=True, width=width, height=height, _environ={})
    with Live(console=console, auto_refresh=False, screen=True) as live:
        live.update(texts[0], refresh=True)
        first, began = len(out.getvalue()), time.process_time()
        for text in texts[1:]:
            live.update(text, refresh=True)
        spent = time.process_time() - began
        written = len(out.getvalue()) - first
    return written / (SECONDS - 1), 1_000 * spent / (SECONDS - 1)


def main() -> None:
    """Print a row for each size and story."""
    for width, height in ((80, 24), (120, 50)):
        for name, events in (("nothing happens", ()), ("a flex opens", flexed())):
            pages, made_ms = _pages(events, width, height)
            (ours, ours_ms), (peers, peers_ms) = _ours(pages, width, height), _peers(pages, width, height)
            print(
                f"{width:3} x {height}, {name:15}  page {made_ms:.1f} ms; written {ours:5.0f} characters a second, "
                f"{ours / peers:.3f} of the peer's; painting {ours_ms:.1f} ms, {ours_ms / peers_ms:.2f} of the peer's"
            )


if __name__ == "__main__":
    main()

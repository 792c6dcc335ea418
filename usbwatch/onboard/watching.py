"""The live screen while somebody flexes, reseats, warms or cools: the same as ``usbwatch watch``."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from usbwatch.onboard.blocks import Block, page_of
from usbwatch.onboard.keys import ENTER
from usbwatch.show.lines import Line, Style, line

if TYPE_CHECKING:
    from usbwatch.capture.stream import LiveStream
    from usbwatch.cli.sitting import News, Sitting
    from usbwatch.onboard.running import Run

__all__ = ["watched_live"]

_LONGEST_MS = 4 * 3_600_000
"""A watch that is forgotten ends by itself, so that its record is saved."""
_KEYS = "Enter: mark this moment   any other key: back"


def watched_live(run: Run) -> None:
    """Watch until a key is pressed; then look at the unit again, with the record in the capture."""
    from usbwatch.capture.stream import LiveStream
    from usbwatch.cli.sitting import Sitting, Start

    assert run.case.localised is not None
    checked = run.case.localised.checked
    with LiveStream("auto", tuple(run.terminals.handles())) as stream:
        start = Start(
            began=datetime.now().astimezone(),
            capture=checked.capture,
            findings=checked.findings,
            profile=checked.profile,
        )
        sitting = Sitting(stream, start, stream.now_ms)
        _until_key(run, sitting, stream)
        sitting.ended()
        record = sitting.record()
    run.look(more=lambda capture: replace(capture, watches=(record,)))


def _until_key(run: Run, sitting: Sitting, stream: LiveStream) -> None:
    from usbwatch.show.watch_opening import opening_line

    _show(run, sitting, [opening_line(sitting.watched())])
    handles = set(run.terminals.handles())
    while sitting.now_ms() < _LONGEST_MS:
        news: list[News] = list(sitting.waited())
        keys = run.terminals.pressed()
        for at, key in enumerate(keys):
            if key != ENTER:
                run.terminals.put_back(keys[at + 1 :])
                return
            news.append(sitting.mark(""))
        for gone in handles - set(run.terminals.handles()):  # a line that has ended must not wake us for ever
            stream.forget(gone)
            handles.discard(gone)
        _show(run, sitting, [_line_of(one, sitting) for one in news])


def _show(run: Run, sitting: Sitting, said: list[Line]) -> None:
    from usbwatch.show.watch_view import frame

    watched = sitting.watched()

    def page(width: int, height: int) -> list[Line]:
        lines = frame(watched, width, max(height - 1, 6), keys=False)
        return page_of([Block(wordings=(tuple(lines),))], [line((_KEYS, Style.FAINT))], width, height)

    run.terminals.show(page, said)
    run.terminals.keep_up()


def _line_of(news: News, sitting: Sitting) -> Line:
    from usbwatch.model import Mark
    from usbwatch.show.watch_marks import mark_line
    from usbwatch.show.watch_words import event_line

    watched = sitting.watched()
    if isinstance(news, Mark):
        return mark_line(news, watched.marks.index(news) + 1, watched.began)
    return event_line(news, watched.profile, watched.began)

"""The live page of ``usbwatch watch``: to be read across a bench, and in detail beside it.

From top to bottom: the unit and the clock, the verdict in big letters, who is
meant, a row per expected device as the unit comes apart, what happened last,
how it is watched, and the keys.
"""

from __future__ import annotations

from usbwatch.model import Incident, Mark
from usbwatch.show.durations import lasted, lasted_short
from usbwatch.show.fitting import fitted, fitted_line
from usbwatch.show.lines import BLANK, Line, Style, cells, line, rule, wrapped
from usbwatch.show.safe import safe
from usbwatch.show.watch_rows import body
from usbwatch.show.watch_verdict import under_it, verdict_rows
from usbwatch.show.watch_words import STATE_COLUMN, at_clock, incident_mark, sentence_of, short_sentence
from usbwatch.show.watched import Watched
from usbwatch.show.words import counted, unit_name

__all__ = ["frame"]

_KEYS = "Enter: mark this moment   Ctrl-C: end"
_KEYS_SHORT = "Enter: mark  Ctrl-C: end"
_LATEST_ROWS = 3
"""Lines that the latest incident may take; the others take one each."""
_WIDE = 64


def frame(watched: Watched, width: int, height: int, *, ascii_only: bool = False, keys: bool = True) -> list[Line]:
    """The page as exactly ``height`` lines, none wider than ``width``; ``keys``: whether anybody can press one."""
    verdict = [*verdict_rows(watched, width, height), *_under(watched, width)]
    roomy = height > len(verdict) + 14
    top = [_title(watched, width), *([BLANK] if roomy else []), *verdict, *([BLANK] if roomy else [])]
    foot = _foot(watched, width, keys=keys)
    room = max(height - len(top) - len(foot), 0)
    news = _news(watched, width, max(room // 3, 2))
    middle = body(watched, width, max(room - len(news), 0))
    filled = [BLANK] * max(room - len(news) - len(middle), 0)
    page = [*top, *middle, *filled, *news, *foot]
    return [fitted_line(one, width, ascii_only=ascii_only) for one in page[:height]]


def _title(watched: Watched, width: int) -> Line:
    clock = f"{at_clock(watched.began, watched.now_ms)}  +{lasted_short(watched.now_ms)}"
    name = fitted(unit_name(watched.unit), max(width - cells(clock) - 2, 0))
    gap = " " * max(width - cells(name) - cells(clock), 1)
    return line((name[:1].upper() + name[1:], Style.STRONG), gap, (clock, Style.FAINT))


def _under(watched: Watched, width: int) -> list[Line]:
    return list(wrapped([under_it(watched)], width))[:2]


def _foot(watched: Watched, width: int, *, keys: bool) -> list[Line]:
    said = [f"watched by {', '.join(safe(one, 40) for one in watched.sources)}"] if watched.sources else []
    said += [f"an absence of {lasted(watched.limit_ms)} or more is seen"] if watched.limit_ms else []
    lost = f"! news lost {counted(watched.missed, 'time')}: events may be lacking; " if watched.missed else ""
    pressed = (_KEYS if width >= _WIDE else _KEYS_SHORT) if keys else ""
    return [
        rule("┄", width),
        line((lost, Style.CAUTION), ("; ".join(said), Style.FAINT)),
        *([line((pressed, Style.FAINT))] if pressed else []),
    ]


def _news(watched: Watched, width: int, room: int) -> list[Line]:
    """What happened last, the latest first and in full as far as there is room."""
    happened: list[Incident | Mark] = sorted(
        [*watched.incidents[-room:], *watched.marks[-room:]], key=lambda one: one.at_ms
    )
    if not happened:
        return [rule("┄", width), line(("nothing has happened yet", Style.FAINT))]
    lines: list[Line] = []
    for one in reversed(happened):
        mine = _newest(one, watched, width) if not lines else [_older(one, watched, width)]
        if len(lines) + len(mine) > room - 1:
            lines += mine[: max(room - 1 - len(lines), 0)]
            break
        lines += mine
    return [rule("┄", width), *lines]


def _newest(one: Incident | Mark, watched: Watched, width: int) -> list[Line]:
    said = one.text if isinstance(one, Mark) else sentence_of(one, watched.profile)
    whole = _news_line(one, said, watched, width)
    rows = list(wrapped([whole], width))
    if len(rows) <= _LATEST_ROWS:
        return rows
    return [*rows[: _LATEST_ROWS - 1], fitted_line(line(rows[_LATEST_ROWS - 1].text + " …"), width)]


def _older(one: Incident | Mark, watched: Watched, width: int) -> Line:
    said = one.text if isinstance(one, Mark) else short_sentence(one, watched.profile)
    return fitted_line(_news_line(one, said, watched, width), width)


def _news_line(one: Incident | Mark, said: str, watched: Watched, width: int) -> Line:
    number = watched.marks.index(one) + 1 if isinstance(one, Mark) else 0
    mark, style = (f"→ mark {number}", Style.CAUTION) if isinstance(one, Mark) else incident_mark(one)
    opening = f"{at_clock(watched.began, one.at_ms)}  "
    column = mark.ljust(STATE_COLUMN) if width >= _WIDE else f"{mark} "
    return line(
        (opening, Style.FAINT),
        (column, style),
        safe(said, 400),
        hang=len(opening) + cells(column) if width >= _WIDE else 2,
    )

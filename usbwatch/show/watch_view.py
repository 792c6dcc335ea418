"""The live page of ``usbwatch watch``: to be read across a bench, and in detail beside it.

From top to bottom: the unit and the clock, the verdict in big letters, who is
meant, a row per expected device as the unit comes apart, what happened last,
how it is watched, and the keys.
"""

from __future__ import annotations

from usbwatch.compare.durations import lasted, lasted_short
from usbwatch.model import Incident, Mark
from usbwatch.show.fitting import fitted, fitted_line
from usbwatch.show.lines import BLANK, Line, Span, Style, cells, line, rule, wrapped
from usbwatch.show.live_page import LivePage
from usbwatch.show.safe import safe
from usbwatch.show.watch_folding import folded
from usbwatch.show.watch_rows import body
from usbwatch.show.watch_verdict import under_it, verdict_rows
from usbwatch.show.watch_words import STATE_COLUMN, at_clock, incident_mark, page_sentence, short_sentence
from usbwatch.show.words import counted, unit_name

__all__ = ["frame"]

_KEYS = "Enter: mark this moment   Ctrl-C: end"
_KEYS_SHORT = "Enter: mark  Ctrl-C: end"
_RECENT = 60
"""Incidents and marks that are looked at for the news: more than any page has lines."""
_LATEST_ROWS, _OLDER_ROWS = 4, 2
"""Lines that the latest incident may take, and each of the others."""
_WIDE = 64
_AIRY = 40
_UNDER = 2
_NO_NEWS = 2
_LEAST_NEWS = 4
"""Lines that are kept for what happened last, its rule among them."""


def frame(
    watched: LivePage, width: int, height: int, *, ascii_only: bool = False, keys: bool = True, typing: str = ""
) -> list[Line]:
    """The page as exactly ``height`` lines, none wider than ``width``.

    ``keys``: whether anybody can press one; ``typing``: the words of a mark as far as they are typed.
    """
    airy = [BLANK] if height >= _AIRY else []
    verdict = [*verdict_rows(watched, width, height), *airy, *_under(watched, width)]
    roomy = height > len(verdict) + 14
    top = [_title(watched, width), *([BLANK] if roomy else []), *verdict, *([BLANK] if roomy else [])]
    foot = _foot(watched, width, keys=keys, typing=typing)
    room = max(height - len(top) - len(foot), 0)
    least = _LEAST_NEWS if watched.incidents or watched.marks else _NO_NEWS
    middle = body(watched, width, max(room - least, 0))
    news = _news(watched, width, room - len(middle))
    filled = [BLANK] * max(room - len(news) - len(middle), 0)
    page = [*top, *middle, *filled, *news, *foot]
    return [fitted_line(one, width, ascii_only=ascii_only) for one in page[:height]]


def _title(watched: LivePage, width: int) -> Line:
    clock = f"{at_clock(watched.began, watched.now_ms)}  +{lasted_short(watched.now_ms)}"
    name = fitted(unit_name(watched.unit), max(width - cells(clock) - 2, 0))
    gap = " " * max(width - cells(name) - cells(clock), 1)
    return line((name[:1].upper() + name[1:], Style.STRONG), gap, (clock, Style.FAINT))


def _under(watched: LivePage, width: int) -> list[Line]:
    rows = list(wrapped([under_it(watched)], width))
    return rows if len(rows) <= _UNDER else [rows[0], fitted_line(line((f"{rows[1].text} …", Style.STRONG)), width)]


def _foot(watched: LivePage, width: int, *, keys: bool, typing: str) -> list[Line]:
    said = [f"by {', '.join(safe(one, 40) for one in watched.sources)}"] if watched.sources else []
    said += [f"sees absences from {lasted(watched.limit_ms)} on"] if watched.limit_ms else []
    said = said if width >= _WIDE else said[::-1]  # where the line is cut, the limit is the last to go
    lost = f"! news lost {counted(watched.missed, 'time')}: events may be lacking; " if watched.missed else ""
    pressed = (_KEYS if width >= _WIDE else _KEYS_SHORT) if keys else ""
    return [
        rule("┄", width),
        line((lost, Style.CAUTION), ("; ".join(said), Style.FAINT)),
        *([_typed(typing, width) if typing else line((pressed, Style.FAINT))] if pressed else []),
    ]


def _typed(typing: str, width: int) -> Line:
    """What is being typed, its end in sight."""
    opening, text = "mark: ", safe(typing, 400)
    while cells(text) > width - len(opening) - 1:
        text = text[1:]
    return line((f"{opening}{text}_", Style.CAUTION))


def _news(watched: LivePage, width: int, room: int) -> list[Line]:
    """What happened last, the latest first and in full as far as there is room."""
    happened: list[Incident | Mark] = sorted(
        [*folded(watched.incidents[-_RECENT:]), *watched.marks[-_RECENT:]], key=lambda one: one.at_ms
    )
    if not happened:
        return [rule("┄", width), line(("nothing has happened yet", Style.FAINT))]
    lines = _newest(happened[-1], watched, width, max(min(room - 1, _LATEST_ROWS), 1))
    for one in reversed(happened[:-1]):
        left = room - 1 - len(lines)
        if left <= 0:
            break
        lines += _older(one, watched, width, min(left, _OLDER_ROWS))
    return [rule("┄", width), *lines]


def _newest(one: Incident | Mark, watched: LivePage, width: int, most: int) -> list[Line]:
    sentence = page_sentence if width >= _WIDE else short_sentence
    said = one.text if isinstance(one, Mark) else sentence(one, watched.profile)
    return _cut(_news_line(one, said, watched, width), width, most)


def _cut(whole: Line, width: int, most: int) -> list[Line]:
    """The line wrapped, in at most so many rows, with a sign where it goes on."""
    rows = list(wrapped([whole], width))
    if len(rows) <= most:
        return rows
    goes_on = Line(spans=(*rows[most - 1].spans, Span(text=" …")))
    return [*rows[: most - 1], goes_on if cells(goes_on.text) <= width else _with_end(rows[most - 1], width)]


def _with_end(row: Line, width: int) -> Line:
    return fitted_line(Line(spans=(*row.spans, Span(text=" " * width))), width)


def _older(one: Incident | Mark, watched: LivePage, width: int, most: int) -> list[Line]:
    said = one.text if isinstance(one, Mark) else short_sentence(one, watched.profile)
    return _cut(_news_line(one, said, watched, width), width, most)


def _news_line(one: Incident | Mark, said: str, watched: LivePage, width: int) -> Line:
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

"""The rows of the live page: one per expected device, with a line of the last minutes.

The line is drawn in letters that are told apart without colour and in ASCII:
``─`` present, ``✗`` gone, ``~`` slow, ``!`` otherwise not well, ``?`` not watched.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from usbwatch.compare.durations import lasted_short
from usbwatch.model import Condition, ExpectedDevice, Mark, Spell, Standing
from usbwatch.show.fitting import fitted
from usbwatch.show.harness import Stub, stubs
from usbwatch.show.lines import Line, Style, cells, line, wrapped
from usbwatch.show.live_page import LivePage
from usbwatch.show.safe import safe
from usbwatch.show.ticket import stub_name
from usbwatch.show.watch_words import CONDITION_SIGNS, CONDITION_STYLES, CONDITION_WORDS, STATE_COLUMN

__all__ = ["body", "missing_since_before", "state_word", "time_line"]

_NAME_COLUMN = 20
_FOR, _TIMES, _LONGEST = 8, 6, 9
_NARROW = 64
"""Below this width the time line stands under the device, and only where something happened."""

_WORDED = 36
"""From this width on a narrow row says in words what its figures are: it has no heads over them."""

_CELL_MS = (5_000, 2_000)
"""How much time one letter of the time line stands for, on a narrow line and on a wide one."""
_WIDE_LINE = 40

_AT_ONCE_MS = 2_000
"""Rows that changed this close together keep the profile's order."""

_LETTERS = {
    Condition.PRESENT: "─",
    Condition.GONE: "✗",
    Condition.SLOW: "~",
    Condition.FAILED: "!",
    Condition.OVER_CURRENT: "!",
    Condition.MUTE: "!",
    Condition.UNDRIVEN: "!",
    Condition.OFFLINE: "o",
    Condition.NOT_WATCHED: "?",
}
_LOOKS = {"─": Style.FINE, "✗": Style.WRONG, "~": Style.CAUTION, "!": Style.WRONG, "?": Style.FAINT}
_WORST = (
    Condition.GONE,
    Condition.FAILED,
    Condition.OVER_CURRENT,
    Condition.MUTE,
    Condition.UNDRIVEN,
    Condition.SLOW,
    Condition.OFFLINE,
    Condition.PRESENT,
    Condition.NOT_WATCHED,
)
"""What is drawn of several conditions within the time of one letter: the first of these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    stub: Stub
    device: ExpectedDevice
    standing: Standing

    @property
    def eventful(self) -> bool:
        """Whether there is something to say of it beyond that it is there, or not watched."""
        quiet = (Condition.PRESENT, Condition.NOT_WATCHED, Condition.OFFLINE)
        return len(self.standing.spells) > 1 or self.standing.times_reset > 0 or self.standing.condition not in quiet


def body(watched: LivePage, width: int, room: int) -> list[Line]:
    """Every expected device by subassembly in at most ``room`` lines.

    With too little room those come first to which something happened, then
    the others with a line for each subassembly, or all in one.
    """
    rows = _rows(watched)
    full = [_heads(watched, width), *_by_stub(rows, watched, width)]
    if len(full) <= room:
        return full
    eventful = [row for row in rows if row.eventful]
    first = [one for row in eventful for one in _device_lines(row, watched, width)]
    top = [_heads(watched, width)] if first and width >= _NARROW else []
    rest = [row for row in rows if not row.eventful]
    left = room - len(top) - len(first)
    by_stub = _stub_lines(rest, width)
    if len(by_stub) <= left:
        return [*top, *first, *by_stub]
    if left > 0 or not rest:
        return [*top, *first, *_sums(rest, width, left, more=bool(first))]
    return _cut_short(eventful, rest, watched, width, room)


def _cut_short(eventful: list[_Row], rest: list[_Row], watched: LivePage, width: int, room: int) -> list[Line]:
    """The most pressing rows, and one line that counts all others."""
    pressing = sorted(
        eventful, key=lambda row: (_WORST.index(row.standing.condition), -(row.standing.since_ms // _AT_ONCE_MS))
    )
    lines: list[Line] = [_heads(watched, width)] if width >= _NARROW else []
    shown = 0
    for row in pressing:
        more = _device_lines(row, watched, width)
        if len(lines) + len(more) + 1 > room:
            break
        lines += more
        shown += 1
    return [*lines, *_sums([*pressing[shown:], *rest], width, 1, more=shown > 0)] if room > 0 else []


def _rows(watched: LivePage) -> list[_Row]:
    standings = {one.device: one for one in watched.standings}
    return [
        _Row(stub=stub, device=device, standing=standings[device.id])
        for stub in stubs(watched.profile)
        for device in stub.devices
        if device.id in standings
    ]


def _by_stub(rows: list[_Row], watched: LivePage, width: int) -> list[Line]:
    lines: list[Line] = []
    for number, row in enumerate(rows):
        if number == 0 or rows[number - 1].stub is not row.stub:
            lines.append(line((stub_name(row.stub), Style.STRONG)))
        lines += _device_lines(row, watched, width)
    return lines


def _heads(watched: LivePage, width: int) -> Line:
    if width < _NARROW:
        return line(("state".ljust(STATE_COLUMN) + "device", Style.FAINT))
    heads = "state".ljust(STATE_COLUMN) + "device".ljust(_NAME_COLUMN)
    heads += "for".rjust(_FOR) + "gone".rjust(_TIMES) + "longest".rjust(_LONGEST) + "  "
    room = width - cells(heads)
    return line((heads + _scale(watched, room), Style.FAINT))


def _scale(watched: LivePage, room: int) -> str:
    """How far back the time line reaches, with a ``|`` at each mark."""
    span = f"{lasted_short(room * _cell_ms(room))} ago"
    marks = _marked(watched.marks, watched.now_ms, room)
    dots = "".join("|" if at in marks else " " for at in range(room))
    spaces = dots[len(span) : -3]
    return f"{span}{spaces}now" if len(span) + 3 < room else dots


def _marked(marks: tuple[Mark, ...], now_ms: int, room: int) -> set[int]:
    cell_ms = _cell_ms(room)
    return {room - 1 - (now_ms // cell_ms - mark.at_ms // cell_ms) for mark in marks}


def _device_lines(row: _Row, watched: LivePage, width: int) -> list[Line]:
    its = row.standing
    mark = (state_word(its).ljust(STATE_COLUMN), CONDITION_STYLES[its.condition])
    if width < _NARROW:
        return _narrow(row, mark, watched, width)
    since, times, longest = _figures(row, watched.now_ms)
    name = fitted(safe(row.device.name, 60), _NAME_COLUMN - 1).ljust(_NAME_COLUMN)
    figures = since.rjust(_FOR) + times.rjust(_TIMES) + longest.rjust(_LONGEST) + "  "
    room = width - STATE_COLUMN - _NAME_COLUMN - cells(figures)
    style = Style.STRONG if row.eventful else Style.PLAIN
    return [line(mark, (name, style), figures, *_coloured(time_line(its, watched.now_ms, room)))]


def _narrow(row: _Row, mark: tuple[str, Style], watched: LivePage, width: int) -> list[Line]:
    since, times, longest = _figures(row, watched.now_ms)
    room = width - STATE_COLUMN - cells(since) - 1
    name = fitted(safe(row.device.name, 60), room)
    first = line(mark, name, " " * (room - cells(name) + 1), since)
    if not row.eventful:
        return [first]
    told = f"  {times} {longest}".ljust(STATE_COLUMN)
    if times and width >= _WORDED:
        told = f"  gone {times}, longest {longest}  "
    return [first, line((told, Style.FAINT), *_coloured(time_line(row.standing, watched.now_ms, width - len(told))))]


def _figures(row: _Row, now_ms: int) -> tuple[str, str, str]:
    """For how long it stands so ("" for as long as the watch), times gone, longest absence."""
    its = row.standing
    return (
        lasted_short(now_ms - its.since_ms) if its.since_ms else "",
        f"{its.times_gone}x" if its.times_gone else "",
        lasted_short(its.longest_ms) if its.times_gone else "",
    )


def _stub_lines(rest: list[_Row], width: int) -> list[Line]:
    """What nothing happened to, a line for each subassembly and condition."""
    told: dict[tuple[str, Condition], list[str]] = {}
    for row in rest:
        told.setdefault((stub_name(row.stub), row.standing.condition), []).append(safe(row.device.name, 60))
    lines = []
    for (stub, condition), names in told.items():
        room = width - STATE_COLUMN - cells(stub) - 2
        mark = (
            f"{CONDITION_SIGNS[condition]} {CONDITION_WORDS[condition]}".ljust(STATE_COLUMN),
            CONDITION_STYLES[condition],
        )
        lines.append(line(mark, (stub, Style.STRONG), "  ", fitted(", ".join(names), room)))
    return lines


def _sums(rest: list[_Row], width: int, room: int, *, more: bool) -> list[Line]:
    """All others in ``room`` lines: how many of each condition, and who; ``more``: whether some stand above."""
    told: dict[str, list[str]] = {}
    for row in sorted(rest, key=lambda row: _WORST.index(row.standing.condition)):
        told.setdefault(state_word(row.standing), []).append(safe(row.device.name, 60))
    counts = [_count(state, len(names), more=more) for state, names in told.items()]
    each = [f"{count}: {', '.join(names)}" for count, names in zip(counts, told.values(), strict=True)]
    if len(each) > room:
        names = ", ".join(", ".join(some) for some in told.values())
        return [line(fitted(f"{', '.join(counts)}: {names}", width))]
    return _spread(each, width, len(each) if more else room)  # with something to tell, the news needs the lines


def _count(state: str, number: int, *, more: bool) -> str:
    sign, _, word = state.partition(" ")
    return f"{sign} {number}{' more' if more else ''} {word}"


def _spread(paragraphs: list[str], width: int, room: int) -> list[Line]:
    """The paragraphs in at most ``room`` lines, each in one at least, the first ones in more."""
    lines: list[Line] = []
    for number, paragraph in enumerate(paragraphs, start=1):
        rows = list(wrapped([line(paragraph, hang=2)], width))
        most = room - len(lines) - (len(paragraphs) - number)
        if len(rows) > most:
            rows = [*rows[: most - 1], line(fitted(" " * 2 * (most > 1) + " ".join(_texts(rows[most - 1 :])), width))]
        lines += rows
    return lines


def _texts(rows: list[Line]) -> list[str]:
    return [row.text.strip() for row in rows]


def state_word(standing: Standing) -> str:
    """Sign and word of how a device stands; what was missing before the watch is not said to have gone."""
    word = "MISSING" if missing_since_before(standing) else CONDITION_WORDS[standing.condition]
    return f"{CONDITION_SIGNS[standing.condition]} {word}"


def missing_since_before(standing: Standing) -> bool:
    """Whether a device was missing when the watch began, and has been ever since."""
    return standing.condition is Condition.GONE and standing.since_before


def _cell_ms(room: int) -> int:
    return _CELL_MS[room >= _WIDE_LINE]


def time_line(standing: Standing, now_ms: int, room: int) -> str:
    """The last minutes in ``room`` letters, now at the right; blank where the watch had not begun.

    Letters stand for fixed stretches of time since the beginning, so that the line moves on a letter at a time.
    """
    cell_ms = _cell_ms(room)
    first = now_ms // cell_ms - room + 1
    cells_of: list[set[Condition]] = [set() for _ in range(room)]
    for spell in _spells_since(standing, first * cell_ms):
        low, high = max(spell.from_ms // cell_ms, first), spell.to_ms // cell_ms
        for cell in range(low, min(high, first + room - 1) + 1):
            if spell.to_ms > cell * cell_ms or spell.to_ms == now_ms:
                cells_of[cell - first].add(spell.condition)
    return "".join(next((_LETTERS[one] for one in _WORST if one in found), " ") for found in cells_of)


def _coloured(letters: str) -> list[tuple[str, Style]]:
    """The time line with each stretch in the style of its condition."""
    return [("".join(stretch), _LOOKS.get(letter, Style.PLAIN)) for letter, stretch in groupby(letters)]


def _spells_since(standing: Standing, from_ms: int) -> list[Spell]:
    """The spells that reach into the time from ``from_ms`` on, found from the end: a watch can be long."""
    found: list[Spell] = []
    for spell in reversed(standing.spells):
        if spell.to_ms < from_ms:
            break
        found.append(spell)
    return found

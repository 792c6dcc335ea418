"""The pages of ``usbwatch unit list``, ``find`` and ``show``: units, and one unit's history as a time line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from usbwatch.casebook import Standing, Story
from usbwatch.model import Money, Profile
from usbwatch.model.history import Amended, Baselined, Captured, Closed, Intake, Opened, Reopened, Unit
from usbwatch.show.lines import BLANK, Line, Style, cells, line, rule, spread
from usbwatch.show.safe import safe
from usbwatch.show.ticket import labelled
from usbwatch.show.unit_entry import amended_words, entry_words, told_words
from usbwatch.show.unit_money import money_lines

__all__ = ["Local", "unit_head", "unit_view", "units_view"]

Local = Callable[[str], str]
"""From RFC 3339 in UTC to the bench's own clock: "2026-03-02 09:16 CET"."""

_KIND = 11
"""Columns of the word for an entry's kind, with the gap after it."""

_MARGIN = 23
"""Columns before what an entry says: number, time, kind."""

_LABEL = 24
"""Columns of the longest label in a list that has the rest beside it; of a longer one that stands below."""

_STATE, _DAY = 14, 12
"""Columns of a unit's state and of the day of its last entry in a list."""


def units_view(
    units: Sequence[Unit], local: Local, why: Sequence[str] = (), *, more: bool = False, none: str = "No unit."
) -> list[Line]:
    """One line per unit under a heading, or ``none``.

    ``why`` says for each what it was found by, "" where that shows; ``more``
    that there are others.
    """
    if not units:
        return [line(none)]
    sizes = [cells(safe(unit.label, 60)) for unit in units]
    column = 2 + max([len("UNIT"), *(size for size in sizes if size <= _LABEL)])
    titles = f"{'UNIT'.ljust(column)}{'STATE'.ljust(_STATE)}{'LAST ENTRY'.ljust(_DAY)}MODEL"
    reasons = [*why, *[""] * (len(units) - len(why))]
    lines = [line((titles, Style.HEADING))]
    for unit, reason in zip(units, reasons, strict=True):
        lines += _unit_lines(unit, local, reason, column)
    rest = [line(("There are more; name what you look for, or --model.", Style.FAINT))] if more else []
    return [*lines, *rest]


def _unit_lines(unit: Unit, local: Local, why: str, column: int) -> list[Line]:
    label = safe(unit.label, 60)
    style = Style.CAUTION if unit.ending is None else Style.FAINT
    beside = cells(label) + 2 <= column
    named = line((label, Style.STRONG), hang=2)
    rest = line(
        " " * (column - cells(label) if beside else column),
        (_state(unit).ljust(_STATE), style),
        local(unit.changed_at)[:10].ljust(_DAY),
        safe(unit.model, 60) or "model not known",
        hang=column,
    )
    rows = [Line(spans=(*named.spans, *rest.spans), hang=column)] if beside else [named, rest]
    return [*rows, *([line(" " * column, (safe(why), Style.FAINT), hang=column)] if why else [])]


def _state(unit: Unit) -> str:
    return unit.ending.value if unit.ending else "on the bench"


def unit_head(unit: Unit, told: Story, width: int) -> list[Line]:
    """The label at the left edge, state and model at the right: what stands above every page about one unit."""
    model = safe(told.model, 60) or "model not known"
    return spread(line((safe(unit.label, 60), Style.STRONG), hang=2), f"{model}, {_state(unit)}", width, Style.FAINT)


def unit_view(unit: Unit, told: Story, profile: Profile | None, width: int, local: Local) -> list[Line]:
    """A unit's history from intake on: what was told, the money so far, and every entry by day."""
    money = profile.money if profile else Money()
    return [
        *unit_head(unit, told, width),
        rule("━", width),
        *_intake_lines(told.opened.intake, money),
        *money_lines(told, money),
        *_time_line(told, profile, width, local),
    ]


def _intake_lines(intake: Intake, money: Money) -> list[Line]:
    return [
        *labelled("claimed", [safe(one) for one in intake.claims], 2, column=12),
        *labelled("came with", [safe(one) for one in intake.came_with], 2, column=12),
        *labelled("told", told_words(intake, money), 2, column=12),
    ]


def _time_line(told: Story, profile: Profile | None, width: int, local: Local) -> Iterator[Line]:
    day = by = ""
    for each in told.standings:
        when = local(each.entry.at)
        if when[:10] != day:
            day = when[:10]
            yield BLANK
            yield line((f"┄┄┄ {day} ".ljust(width, "┄"), Style.FAINT))
        yield from _entry_lines(each, when, profile)
        yield from _taken_lines(each, day, local)
        if each.entry.by != by:
            by = each.entry.by
            yield _below(f"by {safe(by, 60)}" if by else "by nobody named")
        yield from _amendment_lines(each, profile)


def _entry_lines(standing: Standing, when: str, profile: Profile | None) -> Iterator[Line]:
    entry, fact = standing.entry, standing.fact
    word, *said = entry_words(entry.fact if fact is None else fact, profile)
    if isinstance(entry.fact, Opened):
        said = []  # it stands above the time line
    style = Style.STRONG if isinstance(fact, (Opened, Reopened, Baselined, Closed)) else Style.PLAIN
    state = "WITHDRAWN, was: " if fact is None else ""
    first = said[0] if said else ""
    opening = (f"{entry.number:>4}  {when[11:16]:<6}", Style.FAINT)
    kind = word.ljust(_KIND) if state or first else word
    yield line(opening, (kind, style), (state, Style.WRONG), (first, style), hang=_MARGIN)
    for more in said[1:]:
        yield line(" " * _MARGIN, more, hang=_MARGIN)


def _taken_lines(standing: Standing, day: str, local: Local) -> Iterator[Line]:
    """When a capture says that it was taken, where that is another day than the entry's."""
    fact = standing.entry.fact
    taken = local(fact.taken_at) if isinstance(fact, Captured) else ""
    if taken and taken[:10] != day:
        yield _below(f"taken {taken}")


def _amendment_lines(standing: Standing, profile: Profile | None) -> Iterator[Line]:
    before = standing.entry.fact
    for amendment in standing.amendments:
        yield _below(amended_words(amendment, before, profile))
        if isinstance(amendment.fact, Amended) and amendment.fact.instead is not None:
            before = amendment.fact.instead


def _below(text: str) -> Line:
    return line(" " * _MARGIN, (text, Style.FAINT), hang=_MARGIN + 2)

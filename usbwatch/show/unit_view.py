"""The pages of ``usbwatch unit list``, ``find`` and ``show``: units, and one unit's history as a time line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from usbwatch.casebook import Standing, Story
from usbwatch.model import Money, Profile
from usbwatch.model.history import (
    Amended,
    Answered,
    Attached,
    Baselined,
    Captured,
    Closed,
    Entry,
    Intake,
    Noted,
    Opened,
    Recorded,
    Reopened,
    StepDone,
    Unit,
)
from usbwatch.show.lines import BLANK, Line, Style, line, rule, spread
from usbwatch.show.safe import safe
from usbwatch.show.ticket import labelled
from usbwatch.show.unit_money import money_lines
from usbwatch.show.words import counted, step_words, sum_of

__all__ = ["Local", "unit_head", "unit_view", "units_view"]

Local = Callable[[str], str]
"""From RFC 3339 in UTC to the bench's own clock: "2026-03-02 09:16 CET"."""

_KIND = 10
"""Columns of the word for an entry's kind."""

_MARGIN = 22
"""Columns before what an entry says: number, time, kind."""

_LABEL = 24
"""Columns of a label in a list."""


def units_view(units: Sequence[Unit], local: Local, why: Sequence[str] = (), *, more: bool = False) -> list[Line]:
    """One line per unit; ``why`` says for each what it was found by, ``more`` that there are others."""
    if not units:
        return [line("No unit.")]
    reasons = [*why, *[""] * (len(units) - len(why))]
    lines = [_unit_line(unit, local, reason) for unit, reason in zip(units, reasons, strict=True)]
    rest = [line(("There are more; name what you look for, or --model.", Style.FAINT))] if more else []
    return [*lines, *rest]


def _unit_line(unit: Unit, local: Local, why: str) -> Line:
    style = Style.CAUTION if unit.ending is None else Style.FAINT
    return line(
        (safe(unit.label, 60).ljust(_LABEL), Style.STRONG),
        (_state(unit).ljust(14), style),
        local(unit.changed_at)[:10].ljust(12),
        safe(unit.model, 60) or "model not known",
        (f"  {safe(why)}" if why else "", Style.FAINT),
        hang=_LABEL,
    )


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
    told = [
        *labelled("claimed", [safe(one) for one in intake.claims], 2, column=12),
        *labelled("came with", [safe(one) for one in intake.came_with], 2, column=12),
    ]
    facts = [f"paid {sum_of(intake.paid, money)}"] if intake.paid is not None else []
    for name, value in (
        ("liquid got into it", intake.liquid),
        ("dropped", intake.dropped),
        ("opened before", intake.opened_before),
    ):
        facts += [f"{name}: {_YES[value]}"] if value is not None else []
    return [*told, *labelled("told", facts, 2, column=12)]


_YES = {True: "yes", False: "no"}


def _time_line(told: Story, profile: Profile | None, width: int, local: Local) -> Iterator[Line]:
    day = ""
    for each in told.standings:
        when = local(each.entry.at)
        if when[:10] != day:
            day = when[:10]
            yield BLANK
            yield line((f"┄┄┄ {day} ".ljust(width, "┄"), Style.FAINT))
        yield from _entry_lines(each, when[11:16], profile)


def _entry_lines(standing: Standing, time: str, profile: Profile | None) -> Iterator[Line]:
    entry, fact = standing.entry, standing.fact
    word, *said = _words(entry.fact if fact is None else fact, profile)
    opening = f"{entry.number:>4}  {time:<6}"
    style = Style.STRONG if isinstance(fact, (Opened, Reopened, Baselined, Closed)) else Style.PLAIN
    state = "WITHDRAWN, was: " if fact is None else ""
    first = said[0] if said else ""
    yield line((opening, Style.FAINT), (word.ljust(_KIND), style), (state, Style.WRONG), (first, style), hang=_MARGIN)
    for more in said[1:]:
        yield line(" " * _MARGIN, more, hang=_MARGIN)
    for amendment in standing.amendments:
        yield line(" " * _MARGIN, (_amended(amendment, entry, profile), Style.FAINT), hang=_MARGIN + 2)
    if entry.by:
        yield line(" " * _MARGIN, (f"by {safe(entry.by, 60)}", Style.FAINT), hang=_MARGIN)


def _amended(amendment: Entry, entry: Entry, profile: Profile | None) -> str:
    fact = amendment.fact
    assert isinstance(fact, Amended)
    was = " / ".join(_words(entry.fact, profile)[1:])
    return f"amended by {amendment.number}: {safe(fact.reason)}; it said: {was}"


def _words(fact: Recorded, profile: Profile | None) -> tuple[str, ...]:
    """The word for the entry's kind, and what it says, a string for each line."""
    word, said = _SAID[type(fact)]
    return (word, *said(fact, profile))


def _came_in(_fact: Opened, _profile: Profile | None) -> tuple[str, ...]:
    return ()  # it stands above the time line


def _came_back(fact: Reopened, _profile: Profile | None) -> tuple[str, ...]:
    return tuple(safe(one) for one in fact.intake.claims)


def _capture(fact: Captured, _profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.judged, 400) or "not judged: no profile was known",)


def _note(fact: Noted, profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.text, 2000) + _takes(fact.cost, fact.minutes, profile),)


def _file(fact: Attached, _profile: Profile | None) -> tuple[str, ...]:
    return (f"{safe(fact.name, 200)}, {_size(fact.size)}",)


def _amendment(fact: Amended, _profile: Profile | None) -> tuple[str, ...]:
    return (safe(fact.reason),)


def _answer(fact: Answered, profile: Profile | None) -> tuple[str, ...]:
    from usbwatch.plan import questions

    question = questions(profile).get(fact.check, "") if profile else ""
    word = "yes" if fact.yes else "NO"
    return (f"{word}: {safe(question, 300)}" if question else f"{word}: {safe(fact.check, 100)}",)


def _step(fact: StepDone, profile: Profile | None) -> tuple[str, ...]:
    done = step_words(fact.step, profile) if profile else f"{fact.step.kind.value} {safe(fact.step.of, 60)}".rstrip()
    part = [fact.part.grade.value] if fact.part.grade else []
    part += [f"serial {safe(fact.part.serial, 60)}"] if fact.part.serial else []
    put_in = f" ({', '.join(part)})" if part else ""
    said = f"{done}{put_in}{_takes(fact.cost, fact.minutes, profile)}"
    return (said, safe(fact.result, 400)) if fact.result else (said,)


def _takes(cost: int | None, minutes: int | None, profile: Profile | None) -> str:
    spent = [sum_of(cost, profile.money if profile else Money())] if cost is not None else []
    spent += [f"{minutes} min"] if minutes is not None else []
    return f": {', '.join(spent)}" if spent else ""


def _baseline(fact: Baselined, _profile: Profile | None) -> tuple[str, ...]:
    kept = f"kept as the unit's healthy state, with {counted(len(fact.serials), 'serial number')}"
    serials = [", ".join(f"{safe(one.of, 60)} {safe(one.serial, 60)}" for one in fact.serials)] if fact.serials else []
    reason = [f"although not all was present and seen: {safe(fact.reason)}"] if fact.reason else []
    return (kept, *reason, *serials)


def _closing(fact: Closed, profile: Profile | None) -> tuple[str, ...]:
    money = profile.money if profile else Money()
    brought = f", brought {sum_of(fact.brought, money)}" if fact.brought is not None else ""
    if not fact.cause_known:
        cause = "cause not known"
    elif not fact.causes:
        cause = "nothing had failed"
    else:
        cause = f"cause: {', '.join(safe(one.site, 100) for one in fact.causes)}"
    return (f"{fact.ending.value}{brought}; {cause}", *([safe(fact.remark)] if fact.remark else []))


def _size(size: int) -> str:
    return f"{size / 1024:.0f} KiB" if size >= 1024 else f"{size} bytes"  # noqa: PLR2004 - a KiB


_SAID: dict[type[Recorded], tuple[str, Callable[..., tuple[str, ...]]]] = {
    Opened: ("came in", _came_in),
    Reopened: ("came back", _came_back),
    Captured: ("capture", _capture),
    Answered: ("answer", _answer),
    StepDone: ("step", _step),
    Noted: ("note", _note),
    Attached: ("file", _file),
    Baselined: ("baseline", _baseline),
    Closed: ("closed", _closing),
    Amended: ("amended", _amendment),
}
"""By kind of fact, the word for it and what it says."""

"""What a watch came to: shown when it ends, and for one that a record holds.

It says what came and went, how often and for how long, what went together, and
no more than that: how it was watched and what could not be seen stand beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from usbwatch.compare.durations import lasted
from usbwatch.compare.moments import moments, times_with_hub
from usbwatch.model import Condition, Incident, Standing
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.live_page import LivePage
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, mark, stamp
from usbwatch.show.watch_marks import around_mark
from usbwatch.show.watch_rows import missing_since_before, state_word
from usbwatch.show.watch_suggests import alone, always_stayed, suggests
from usbwatch.show.watch_verdict import under_it
from usbwatch.show.watch_words import (
    CONDITION_STYLES,
    STATE_COLUMN,
    at_clock,
    names_of,
    own_link_words,
    shared_words,
)
from usbwatch.show.words import counted, listed, unit_name

__all__ = ["ends_unwell", "has_watched", "summary"]

_NO_FAULT = frozenset({Condition.PRESENT, Condition.NOT_WATCHED, Condition.OFFLINE})
_MOST = 12
"""Lines of one sort that are shown; the record has them all."""


def summary(watched: LivePage, width: int, record: str = "", where: str = "") -> list[Line]:
    """The page at the end; ``record``: the file that keeps the watch, "" for none.

    ``where``: a sentence that says where it is, and whether it is lost with the unit's power.
    """
    told = moments(watched.incidents, watched.standings, watched.profile)
    return [
        line((unit_name(watched.unit), Style.STRONG), f", watched for {lasted(watched.now_ms)}", hang=2),
        BLANK,
        *_stamp(watched, width),
        *_fared(watched),
        *_missing_before(watched),
        *_together(watched, told),
        *_singly(watched, told),
        *_marks(watched),
        *suggests(watched, told, recorded=bool(record)),
        *_helpers(watched),
        *_not_watched(watched),
        *_limits(watched),
        *_next(watched, record, where),
    ]


def _stamp(watched: LivePage, width: int) -> list[Line]:
    fared = _eventful(watched)
    wrong = ends_unwell(watched)
    if fared:
        text, sign, style = f"{counted(len(fared), 'expected device')} did not stay as it was", "✗", Style.STAMP_WRONG
        text = text if len(fared) == 1 else text.replace("as it was", "as they were")
    elif not has_watched(watched):
        text, sign, style = "nothing of the unit could be watched", "?", Style.STAMP_UNSEEN
    elif wrong:
        text, sign, style = "no change while it was watched; not all is well", "!", Style.STAMP_WRONG
    else:
        text, sign, style = "nothing that is watched left or fell back", "✓", Style.STAMP_FINE
    return stamp(text, sign, style, width, under_it(watched).text)


def has_watched(watched: LivePage) -> bool:
    """Whether any expected device was watched at all."""
    return any(one.condition is not Condition.NOT_WATCHED for one in watched.standings)


def ends_unwell(watched: LivePage) -> bool:
    """Whether any expected device is missing, mute, slow or otherwise not well."""
    return any(one.condition not in _NO_FAULT for one in watched.standings)


def _eventful(watched: LivePage) -> list[Standing]:
    return [one for one in watched.standings if len(one.spells) > 1 or one.times_reset]


def _fared(watched: LivePage) -> list[Line]:
    """Each device to which something happened, or that is not well."""
    shown = [
        one
        for one in watched.standings
        if one in _eventful(watched) or (one.condition not in _NO_FAULT and not missing_since_before(one))
    ]
    if not shown:
        return []
    lines = heading("How each fared")
    for one in sorted(shown, key=lambda each: -each.times_gone):
        name = names_of((one.device,), watched.profile)
        word = (state_word(one).ljust(STATE_COLUMN), CONDITION_STYLES[one.condition])
        lines.append(line(word, (name, Style.STRONG), f"  {_figures(one, _with_hub(one, watched))}", hang=STATE_COLUMN))
    return lines


def _missing_before(watched: LivePage) -> list[Line]:
    """What was not there from the first moment to the last: the watch tells no more of it."""
    ids = [one.device for one in watched.standings if missing_since_before(one) and one not in _eventful(watched)]
    if not ids:
        return []
    first = next(one for one in watched.standings if one.device == ids[0])
    word = (state_word(first).ljust(STATE_COLUMN), CONDITION_STYLES[first.condition])
    names = listed([names_of((one,), watched.profile) for one in ids])
    return [*heading("Missing since before the watch"), line(word, (names, Style.STRONG), hang=STATE_COLUMN)]


def _with_hub(one: Standing, watched: LivePage) -> list[tuple[int, str]]:
    """How often a device left with a hub, and the hub's name."""
    found = times_with_hub(one.device, watched.incidents, watched.profile)
    return [(count, names_of((hub,), watched.profile)) for hub, count in found.items()]


def _gone(one: Standing, with_hub: Sequence[tuple[int, str]]) -> str:
    """How often it went, as the check counts: what a hub took along is counted at the hub."""
    gone = "without mains" if any(spell.condition is Condition.OFFLINE for spell in one.spells) else "gone"
    own = max(one.times_gone - sum(count for count, _ in with_hub), 0)
    rate = f" ({one.per_minute * own / one.times_gone:.2g} a minute)" if own > 1 else ""
    more = " more" if own else ""
    said = [f"{counted(own, 'time')} {gone}{rate}"] if own else []
    said += [f"{'once' if count == 1 else f'{count} times'}{more} with {hub}, counted there" for count, hub in with_hub]
    return ", and ".join(said)


def _figures(one: Standing, with_hub: Sequence[tuple[int, str]]) -> str:
    if missing_since_before(one):
        return "missing since before the watch began"
    said = [_gone(one, with_hub)] if one.times_gone else []
    if one.longest_ms:
        total = f", {lasted(one.absent_ms)} in all" if one.times_gone > 1 else ""
        said.append(f"longest absence {lasted(one.longest_ms)}{total}")
    said += [f"{counted(one.times_reset, 'time')} reset by the kernel"] if one.times_reset else []
    others = dict.fromkeys(spell.condition for spell in one.spells)
    for condition in (Condition.SLOW, Condition.FAILED, Condition.OVER_CURRENT, Condition.MUTE, Condition.UNDRIVEN):
        if condition in others:
            spent = sum(spell.to_ms - spell.from_ms for spell in one.spells if spell.condition is condition)
            said.append(f"{condition.value} for {lasted(spent)}")
    return "; ".join(said)


def _together(watched: LivePage, told: Sequence[Incident]) -> list[Line]:
    """What went together, each combination once, with how often."""
    kinds = _kinds(one for one in told if len(one.devices) > 1)
    if not kinds:
        return []
    lines = heading("What went together")
    for alike in sorted(kinds, key=len, reverse=True)[:_MOST]:
        times = f"{counted(len(alike), 'time')}".ljust(STATE_COLUMN)
        lines.append(line(times, names_of(alike[0].devices, watched.profile), hang=STATE_COLUMN))
        lines.append(line(" " * STATE_COLUMN, shared_words(alike[0], watched.profile), hang=STATE_COLUMN))
    return lines


def _kinds(told: Iterable[Incident]) -> list[list[Incident]]:
    """Those that are alike in who left and with what, together."""
    kinds: dict[tuple[object, ...], list[Incident]] = {}
    for one in told:
        kinds.setdefault((one.devices, one.head, one.shared), []).append(one)
    return list(kinds.values())


def _singly(watched: LivePage, told: Sequence[Incident]) -> list[Line]:
    """What went alone, with its own link as the only thing that is named."""
    kinds = alone(told)
    if not kinds:
        return []
    lines = heading("What went alone")
    for device, alike in sorted(kinds.items(), key=lambda pair: -len(pair[1]))[:_MOST]:
        times = f"{counted(len(alike), 'time')}".ljust(STATE_COLUMN)
        link = own_link_words(replace(alike[-1], stayed_on_link=always_stayed(alike)), watched.profile)
        said = names_of((device,), watched.profile) + (f"; {link}" if link else "")
        lines.append(line(times, said, hang=STATE_COLUMN))
    return lines


def _marks(watched: LivePage) -> list[Line]:
    """What left around each mark."""
    if not watched.marks:
        return []
    lines = heading("Around each mark")
    happened = sorted(watched.incidents, key=lambda one: one.at_ms)
    for number, one in enumerate(watched.marks, start=1):
        words = f" {safe(one.text, 200)}" if one.text else ""
        said = around_mark(one, happened, watched.profile)
        opening = f"{number} at {at_clock(watched.began, one.at_ms)}".ljust(STATE_COLUMN)
        lines.append(line(opening, (f"{words.strip()}: " if words else "", Style.STRONG), said, hang=STATE_COLUMN))
    return lines


def _helpers(watched: LivePage) -> list[Line]:
    count = sum(one.outside for one in watched.incidents)
    if not count:
        return []
    return [
        *heading("Set aside"),
        line("  ", f"{counted(count, 'change')} of helper devices in sockets, not counted against the unit", hang=2),
    ]


def _not_watched(watched: LivePage) -> list[Line]:
    reasons: dict[str, list[str]] = {}
    for one in watched.standings:
        if one.condition is Condition.NOT_WATCHED:
            reasons.setdefault(one.why, []).append(one.device)
    if not reasons:
        return []
    lines = heading("Not watched")
    for why, devices in reasons.items():
        words = (mark("?", "not watched", Style.UNSEEN)[0].ljust(STATE_COLUMN), Style.UNSEEN)
        lines.append(line(words, names_of(devices, watched.profile), f": {safe(why, 200)}", hang=STATE_COLUMN))
    return lines


def _limits(watched: LivePage) -> list[Line]:
    said = [f"Watched by {listed([safe(one, 40) for one in watched.sources])}."] if watched.sources else []
    if watched.limit_ms:
        said.append(f"An absence of {lasted(watched.limit_ms)} or more is seen; a shorter one may have passed unseen.")
    if watched.missed:
        said.append(
            f"The kernel dropped news {counted(watched.missed, 'time')}: events are lacking, figures are too low."
        )
    said.append("Nothing changing proves no contact good: it says that none opened while it was watched.")
    return [*heading("How far this can be trusted"), *(line("  ", one, hang=2) for one in said)]


def _next(watched: LivePage, record: str, where: str) -> list[Line]:
    if not record:
        return []
    from usbwatch.safe import typed

    by = f"--profile {typed(watched.asked_profile)} " if watched.asked_profile else ""
    place = [line("  ", safe(where, 500), hang=2)] if where else []
    return [*heading("What to do next"), line("  ", f"usbwatch check {by}{typed(record)}", hang=4), *place]

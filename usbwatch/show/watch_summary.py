"""What a watch came to: shown when it ends, and for one that a record holds.

It says what came and went, how often and for how long, what went together, and
no more than that: how it was watched and what could not be seen stand beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from usbwatch.compare.durations import lasted
from usbwatch.model import Change, Condition, Incident, Standing
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.live_page import LivePage
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, mark, stamp
from usbwatch.show.watch_folding import folded
from usbwatch.show.watch_rows import missing_since_before, state_word
from usbwatch.show.watch_verdict import under_it
from usbwatch.show.watch_words import (
    CONDITION_STYLES,
    STATE_COLUMN,
    at_clock,
    by_kind,
    names_of,
    own_link_words,
    shared_words,
    short_sentence,
)
from usbwatch.show.words import counted, listed, unit_name

__all__ = ["summary"]

_NO_FAULT = frozenset({Condition.PRESENT, Condition.NOT_WATCHED, Condition.OFFLINE})
_OFTEN = 3
"""From this many times on, coming and going is no longer one jolt of the bench."""
_MOST = 12
"""Lines of one sort that are shown; the record has them all."""


def summary(watched: LivePage, width: int, record: str = "") -> list[Line]:
    """The page at the end; ``record``: the file that keeps the watch, "" for none."""
    return [
        line((unit_name(watched.unit), Style.STRONG), f", watched for {lasted(watched.now_ms)}", hang=2),
        BLANK,
        *_stamp(watched, width),
        *_fared(watched),
        *_missing_before(watched),
        *_together(watched),
        *_singly(watched),
        *_marks(watched),
        *_suggests(watched),
        *_helpers(watched),
        *_not_watched(watched),
        *_limits(watched),
        *_next(record),
    ]


def _stamp(watched: LivePage, width: int) -> list[Line]:
    fared = _eventful(watched)
    wrong = [one for one in watched.standings if one.condition not in _NO_FAULT]
    if fared:
        text, sign, style = f"{counted(len(fared), 'expected device')} did not stay as it was", "✗", Style.STAMP_WRONG
        text = text if len(fared) == 1 else text.replace("as it was", "as they were")
    elif wrong:
        text, sign, style = "no change while it was watched; not all is well", "!", Style.STAMP_WRONG
    else:
        text, sign, style = "nothing that is watched left or fell back", "✓", Style.STAMP_FINE
    return stamp(text, sign, style, width, under_it(watched).text)


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
        lines.append(line(word, (name, Style.STRONG), f"  {_figures(one)}", hang=STATE_COLUMN))
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


def _figures(one: Standing) -> str:
    if missing_since_before(one):
        return "missing since before the watch began"
    rate = f" ({one.per_minute:.2g} a minute)" if one.times_gone > 1 else ""
    gone = "without mains" if any(spell.condition is Condition.OFFLINE for spell in one.spells) else "gone"
    said = [f"{counted(one.times_gone, 'time')} {gone}{rate}"] if one.times_gone else []
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


def _together(watched: LivePage) -> list[Line]:
    """What went together, each combination once, with how often."""
    kinds: dict[tuple[object, ...], list[Incident]] = {}
    for one in watched.incidents:
        if one.change is Change.GONE and len(one.devices) > 1:
            kinds.setdefault((one.devices, one.head, one.shared), []).append(one)
    if not kinds:
        return []
    lines = heading("What went together")
    for alike in sorted(kinds.values(), key=len, reverse=True)[:_MOST]:
        times = f"{counted(len(alike), 'time')}".ljust(STATE_COLUMN)
        lines.append(line(times, names_of(alike[0].devices, watched.profile), hang=STATE_COLUMN))
        lines.append(line(" " * STATE_COLUMN, shared_words(alike[0], watched.profile), hang=STATE_COLUMN))
    return lines


def _singly(watched: LivePage) -> list[Line]:
    """What went alone, with its own link as the only thing that is named."""
    kinds: dict[str, list[Incident]] = {}
    for one in watched.incidents:
        if one.change is Change.GONE and len(one.devices) == 1 and not one.head:
            kinds.setdefault(one.devices[0], []).append(one)
    if not kinds:
        return []
    lines = heading("What went alone")
    for device, alike in sorted(kinds.items(), key=lambda pair: -len(pair[1]))[:_MOST]:
        times = f"{counted(len(alike), 'time')}".ljust(STATE_COLUMN)
        link = own_link_words(alike[-1], watched.profile)
        said = names_of((device,), watched.profile) + (f"; {link}" if link else "")
        lines.append(line(times, said, hang=STATE_COLUMN))
    return lines


def _marks(watched: LivePage) -> list[Line]:
    """What happened between each mark and the next."""
    if not watched.marks:
        return []
    lines = heading("What followed each mark")
    moments = [*(one.at_ms for one in watched.marks), watched.now_ms + 1]
    for number, (one, (start, end)) in enumerate(zip(watched.marks, pairwise(moments), strict=True), start=1):
        told = [
            f"{at_clock(watched.began, each.at_ms)} {short_sentence(each, watched.profile)}"
            for each in folded(watched.incidents)
            if start <= each.at_ms < end and not each.outside
        ]
        words = f" {safe(one.text, 200)}" if one.text else ""
        more = f"; and {len(told) - 3} more" if len(told) > 3 else ""  # noqa: PLR2004 - the record has them all
        said = "; ".join(told[:3]) + more if told else "nothing"
        opening = f"{number} at {at_clock(watched.began, one.at_ms)}".ljust(STATE_COLUMN)
        lines.append(line(opening, (f"{words.strip()}: " if words else "", Style.STRONG), said, hang=STATE_COLUMN))
    return lines


def _suggests(watched: LivePage) -> list[Line]:
    """What the data go far enough to suggest; nothing where they do not."""
    said = [*_suggestions(watched)]
    return [*heading("What that suggests"), *(line("  ", one, hang=2) for one in said)] if said else []


def _suggestions(watched: LivePage) -> Sequence[str]:
    said: list[str] = []
    often = [one for one in watched.standings if one.times_gone >= _OFTEN]
    if often:
        names = listed([names_of((one.device,), watched.profile) for one in often])
        said.append(
            f"{names} came and went {_OFTEN} times or more: a contact that opens and closes is likelier than a dead "
            "part (common practice, no source). Move one link at a time, and mark what you move."
        )
    together = [one for one in watched.incidents if one.change is Change.GONE and one.shared]
    common = set.intersection(*(set(one.shared) for one in together)) if together else set()
    if len(together) > 1 and common:
        ids = by_kind([one for one in together[0].shared if one in common], watched.profile)
        said.append(
            f"Each of the {len(together)} times that several left together, all of them needed "
            f"{names_of(ids, watched.profile)}, and nothing that stayed did: look there first."
        )
    return said


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


def _next(record: str) -> list[Line]:
    if not record:
        return []
    from usbwatch.safe import typed

    return [*heading("What to do next"), line("  ", f"usbwatch check {typed(record)}", hang=4)]

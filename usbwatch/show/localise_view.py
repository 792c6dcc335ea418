"""The page that ``usbwatch localise`` shows.

From top to bottom: the unit, its captures and what was done between them, the
verdict, what a supposition would change, what to do next and why, the suspects
with the evidence for and against them, and what the captures cannot tell
apart. In full, the suspects come first: every one with all its ways to fail
and its cures, the sets of faults, and every step.
"""

from __future__ import annotations

from usbwatch.model import PartSuspicion
from usbwatch.show.check_view import STAMPS, hand_line, stop_lines
from usbwatch.show.checked import Checked
from usbwatch.show.contradictions_view import contradiction_lines, resting_on_it
from usbwatch.show.lines import BLANK, Line, Span, Style, line
from usbwatch.show.localised import Localised, Seen
from usbwatch.show.plan_view import do_next, every_step_lines, short_step_lines
from usbwatch.show.safe import safe
from usbwatch.show.story import notes, story_lines
from usbwatch.show.supposed_view import supposed_lines
from usbwatch.show.suspects_in_full import alike_lines, argument, every_suspect_lines
from usbwatch.show.suspects_view import likeliest, suspect_lines
from usbwatch.show.ticket import labelled, stamp
from usbwatch.show.verdict import judged_wrong, outcome, sentence
from usbwatch.show.watched_view import watched_in_short
from usbwatch.show.words import part_name, step_words, taken_words, unit_name

__all__ = ["localise_view"]


def localise_view(localised: Localised, width: int, *, full: bool = False) -> list[Line]:
    """The whole page."""
    checked = localised.checked
    verdict = outcome(checked.findings)
    return [
        *_unit_lines(localised),
        BLANK,
        *stop_lines(checked, width),
        *stamp(sentence(checked.findings), *STAMPS[verdict], width, likeliest(checked), do_next(checked)),
        *_contradicting(localised),
        *resting_on_it(checked.findings, checked.profile),
        *story_lines(localised),
        *supposed_lines(localised, width),
        *(_in_full(checked, width) if full else _in_short(checked, width)),
    ]


def _in_full(checked: Checked, width: int) -> list[Line]:
    suspects = [*every_suspect_lines(checked, width), *alike_lines(checked)] if _has_suspects(checked) else []
    return [*suspects, *every_step_lines(checked, width)]


def _in_short(checked: Checked, width: int) -> list[Line]:
    """What to do comes first, and what is improbable or late is only counted."""
    if not _has_suspects(checked):
        return short_step_lines(checked, width)
    return [
        *short_step_lines(checked, width),
        *suspect_lines(checked, width, _arguments),
        *alike_lines(checked),
        BLANK,
        line(" " * _SET_IN, (_MORE, Style.FAINT), hang=_SET_IN),
    ]


_SET_IN = 8
_MORE = "In full, with every way to fail, which faults together, and every step: add --full."


def _has_suspects(checked: Checked) -> bool:
    return judged_wrong(checked.findings) and not checked.findings.other_model


def _arguments(one: PartSuspicion, checked: Checked) -> list[Line]:
    """The single observations that move its odds most."""
    return [
        *labelled("argues for", argument(one.most_for, one.for_was_wrong, checked), _SET_IN),
        *labelled("argues against", argument(one.most_against, one.against_was_wrong, checked), _SET_IN),
    ]


def _contradicting(localised: Localised) -> list[Line]:
    """What was answered with any of the captures and cannot be so beside it."""
    profile, count = localised.checked.profile, len(localised.seen)
    return [
        one
        for number, seen in enumerate(localised.seen, 1)
        if seen.findings is not None
        for one in contradiction_lines(seen.findings, profile, f"capture {number}" if count > 1 else "this capture")
    ]


def _unit_lines(localised: Localised) -> list[Line]:
    checked = localised.checked
    unit, profile = checked.capture.unit, checked.profile
    serial = f", serial {safe(unit.product_serial.strip(), 40)}" if unit.product_serial.strip() else ""
    variant = next((one.name for one in profile.variants if one.id == checked.findings.variant), "")
    name = unit_name(unit)
    said = [f"profile {safe(profile.id, 60)}", *([f"variant {safe(variant, 60)}"] if variant else [])]
    at_hand = [part_name(part, profile) for part in localised.at_hand]
    return [
        line((f"{name[:1].upper()}{name[1:]}", Style.STRONG), serial, hang=2),
        line((", ".join(said), Style.FAINT), hang=2),
        *(one for number, seen in enumerate(localised.seen, 1) for one in _seen_lines(number, seen, checked)),
        *(line(("Note: ", Style.CAUTION), note, hang=6) for note in notes(localised)),
        *_not_weighed(localised.not_weighed, len(localised.seen)),
        *([line(f"known good and at hand: {', '.join(at_hand)}", hang=2)] if at_hand else []),
    ]


def _not_weighed(count: int, total: int) -> list[Line]:
    if not count:
        return []
    which = "capture 1 is" if count == 1 else f"captures 1 to {count} are"
    said = (
        f"{which} not weighed: of so many that differ, only the latest {total - count} are, with all that was done "
        "before them."
    )
    return [line(("Note: ", Style.CAUTION), said, hang=6)]


def _seen_lines(number: int, seen: Seen, checked: Checked) -> list[Line]:
    steps = [line("     ", step_words(step, checked.profile), hang=5) for step in seen.steps]
    when = taken_words(seen.capture, safe(seen.when, 60))
    path = [f"  {safe(seen.path)}"] if seen.path else []
    answers = [_set_in(hand_line(answer, checked)) for answer in seen.answers]
    told = watched_in_short(seen.capture, seen.findings, checked.profile)
    watched = [line("     ", told, hang=7)] if told else []
    return [*steps, line(f"{number:>3}  ", when, *path, hang=5), *watched, *answers]


def _set_in(whole: Line) -> Line:
    return Line(spans=(Span(text=" " * 5), *whole.spans), hang=whole.hang + 5)

"""Every suspect with all its evidence, which faults together explain the unit, and what no capture tells apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from usbwatch.localise.sites import rests_on_cases
from usbwatch.model import CureSuspicion, Hypothesis, PartSuspicion, Site, Suspects, Symptom
from usbwatch.show.alike import Alike, alike
from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.suspects_view import basis, head_lines, names_of, plug_first, risen, way_words
from usbwatch.show.ticket import heading, labelled
from usbwatch.show.words import counted, cure_words, listed, part_name, percent, price, small_percent

__all__ = ["alike_lines", "argument", "every_suspect_lines"]

_SET_IN = 8
_COLUMN = 20
"""Columns of a label beside a suspect."""

_LEAST = 0.005
"""A suspect or a way to fail less probable than this is only counted."""

_WAYS = 5
"""Ways to fail that are shown of one part."""

_MANY_LEFT_OUT = 0.2
"""From this probability of larger sets on, they are plausible and not a remainder."""


def every_suspect_lines(checked: Checked, width: int) -> list[Line]:
    """The suspects in full, and the sets of faults."""
    return [*_part_lines(checked, width), *_set_lines(checked)]


def _part_lines(checked: Checked, width: int) -> list[Line]:
    suspects = [one for one in checked.suspects.parts if one.explains and one.probability >= _LEAST]
    rest = [one for one in checked.suspects.parts if one not in suspects and one.probability > 0]
    lines = heading("The suspects in full")
    for one in suspects:
        lines += [BLANK, *_one_part(one, checked, width)]
    return [*lines, *_rest_lines(rest, checked)]


def _one_part(one: PartSuspicion, checked: Checked, width: int) -> list[Line]:
    return [
        *head_lines(one, checked, width),
        *_way_lines(one, checked),
        *_row("before buying", plug_first(one, checked)),
        *_row("explains", names_of(one.explains, checked)),
        *_row("does not explain", names_of(one.leaves, checked)),
        *_row("speaks against", [f"{name} is well" for name in names_of(one.against, checked)]),
        *_row("argues most for", argument(one.most_for, one.for_was_wrong, checked)),
        *_row("argues most against", argument(one.most_against, one.against_was_wrong, checked)),
        *_rows("mended by", [_cure_said(each, checked) for each in _cures_of(one, checked.suspects)]),
    ]


def _row(label: str, items: Sequence[str]) -> list[Line]:
    return labelled(label, items, _SET_IN, column=_COLUMN)


def _rows(label: str, items: Sequence[str]) -> list[Line]:
    """The same with each item on a line of its own."""
    return [one for number, item in enumerate(items) for one in _row("" if number else label, [item])]


def _way_lines(one: PartSuspicion, checked: Checked) -> list[Line]:
    """How it can have failed: each way that is likelier than before, what it had before, and where that comes from."""
    shown = [(site, chance) for site, chance in risen(one) if chance >= _LEAST][:_WAYS] or risen(one)[:1]
    left = len(one.sites) - len(shown)
    more = [line(" " * (_SET_IN + _COLUMN), f"and {counted(left, 'other way')}")] if left else []
    return [
        *(_one_way(site, chance, checked, first=number == 0) for number, (site, chance) in enumerate(shown)),
        *more,
        *_origin_lines([site for site, _ in shown]),
    ]


def _origin_lines(sites: Sequence[Site]) -> list[Line]:
    """Where the figures come from: what was counted, of each way by itself."""
    if not any(rests_on_cases(site) for site in sites):
        return _row("figures are", list(dict.fromkeys(safe(site.origin, 100) for site in sites)))
    return _rows("figures are", [f"{safe(site.name, 100)}: {safe(site.origin, 200)}" for site in sites])


def _one_way(site: Site, chance: float, checked: Checked, *, first: bool) -> Line:
    label = ("how" if first else "").ljust(_COLUMN)
    said = f"{way_words(site, checked)} ({small_percent(site.prior)} before looking)"
    return line(" " * _SET_IN, (label, Style.FAINT), f"{percent(chance):>3} ", said, hang=_SET_IN + _COLUMN + 4)


def argument(id_: str, was_wrong: bool, checked: Checked) -> list[str]:
    """The observation that argues, in words: "Keyboard is missing"; nothing where none does."""
    if not id_:
        return []
    (name,) = names_of((id_,), checked)
    return [f"{name} {_now(id_, was_wrong, checked) or ('was not well before' if was_wrong else 'was well before')}"]


def _now(id_: str, was_wrong: bool, checked: Checked) -> str:
    """What the last look shows of it, "" when it was an earlier look that argued."""
    for finding in checked.findings.findings:
        if finding.device == id_ and was_wrong != (finding.symptom is Symptom.WORKING):
            return f"is {finding.verdict.value}"
    for answer in checked.findings.answers:
        if answer.check == id_ and was_wrong != answer.yes:
            return f"is answered with {'yes' if answer.yes else 'no'}"
    return ""


def _cures_of(one: PartSuspicion, suspects: Suspects) -> list[CureSuspicion]:
    wanted = {site.cure for site, _ in one.sites}
    return [each for each in suspects.cures if each.cure in wanted]


def _cure_said(each: CureSuspicion, checked: Checked) -> str:
    alone = f"enough by itself {percent(each.alone)}" if each.alone >= _LEAST else "hardly enough by itself"
    return f"{cure_words(each.cure, checked.profile)}: needed {percent(each.probability)}, {alone}"


def _rest_lines(rest: Sequence[PartSuspicion], checked: Checked) -> list[Line]:
    """What explains little or nothing of what was found, and what is left."""
    named = [f"{part_name(one.part, checked.profile)} {percent(one.probability)}" for one in rest]
    return [
        BLANK,
        *_row("or else", [f"nothing that the profile knows {percent(checked.suspects.nothing_wrong)}"]),
        *_row("other faults", named),
        *_row("unexplained", names_of(checked.suspects.unexplained, checked)),
        line(" " * _SET_IN, (basis(checked.suspects), Style.FAINT), hang=_SET_IN),
    ]


def _set_lines(checked: Checked) -> list[Line]:
    suspects = checked.suspects
    if not suspects.hypotheses:
        return []
    return [
        *heading("Which faults together"),
        BLANK,
        *(one for each in _without_doubles(suspects.hypotheses) for one in _one_set(each, checked)),
        BLANK,
        *(line(" " * _SET_IN, said, hang=_SET_IN) for said in (*_left_out(suspects), *_fewest(suspects))),
    ]


def _without_doubles(hypotheses: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Sets that differ only in when a fault showed itself, as one."""
    found: dict[tuple[tuple[Site, ...], tuple[str, ...]], Hypothesis] = {}
    for one in hypotheses:
        key = (one.sites, one.mended)
        found[key] = replace(one, probability=one.probability + found[key].probability) if key in found else one
    return sorted(found.values(), key=lambda one: -one.probability)


def _one_set(one: Hypothesis, checked: Checked) -> list[Line]:
    faults = [f"{safe(site.name, 100)}{' (mended since)' if site.id in one.mended else ''}" for site in one.sites]
    words = " + ".join(faults) or "nothing that the profile knows"
    return [
        line((f"{percent(one.probability):>6}", Style.STRONG), "  ", words, hang=_SET_IN),
        *_row("does not explain", names_of(one.leaves, checked)),
        *_row("speaks against", [f"{name} is well" for name in names_of(one.against, checked)]),
    ]


def _left_out(suspects: Suspects) -> list[str]:
    """What the listed sets leave out, as sentences."""
    at_most = counted(suspects.depth, "fault")
    if suspects.left_out is None:
        return [f"How probable sets of more than {at_most} are could not be worked out."]
    other = 1 - suspects.left_out - sum(one.probability for one in suspects.hypotheses)
    said = [
        f"Other sets of at most {at_most}: {percent(other)} together.",
        f"Sets of more than {at_most}: {percent(suspects.left_out)} together.",
    ]
    if suspects.left_out > _MANY_LEFT_OUT:
        said.append(f"More faults than {_NUMBERS.get(suspects.depth, suspects.depth)} at once are plausible.")
    return said


def _fewest(suspects: Suspects) -> list[str]:
    sets = [" + ".join(safe(site.name, 100) for site in each) for each in suspects.fewest[:_WAYS] if each]
    return [f"Fewest faults that explain everything found wrong: {'; or '.join(sets)}."] if sets else []


_NUMBERS = {1: "one", 2: "two", 3: "three"}


def alike_lines(checked: Checked) -> list[Line]:
    """What no capture can tell apart, and the cheapest thing that would; nothing where all can be."""
    groups = alike(checked.suspects, checked.plan)
    if not groups:
        return []
    return [
        *heading("What no capture can tell apart"),
        *(one for group in groups for one in (BLANK, *_group_lines(group, checked))),
    ]


def _group_lines(group: Alike, checked: Checked) -> list[Line]:
    names = listed([part_name(part, checked.profile) for part in group.parts])
    told = line(" " * _SET_IN, (names, Style.STRONG), hang=_SET_IN)
    return [told, *_row("told by, cheapest", [_would(group, checked)])]


def _would(group: Alike, checked: Checked) -> str:
    if group.cheapest is None:
        return "nothing short of putting one of them in"
    takes = f"{price(group.cheapest.cost, checked.profile.money)}, {group.cheapest.minutes} min"
    return f"{safe(group.cheapest.words, 200)} ({takes})"

"""Where the fault lies, part by part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

from usbwatch.localise.sites import SiteKind, own_link, rests_on_cases, site_id
from usbwatch.model import Findings, PartSuspicion, Site, Suspects, Symptom, Verdict
from usbwatch.plan import questions
from usbwatch.plan.cautions import cautions
from usbwatch.plan.rewatching import plugs_first
from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line, spread
from usbwatch.show.plan_view import caution_lines
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, labelled
from usbwatch.show.verdict import Outcome, judged_wrong, outcome
from usbwatch.show.words import counted, cure, listed, percent

__all__ = ["basis", "head_lines", "likeliest", "names_of", "plug_first", "risen", "suspect_lines", "way_words"]

_SHOWN = 5
"""Suspects that are shown in full; the others are named with their probability."""

_NAMED = 3
"""Of the others, how many are named."""

_NO_SUSPECT = "Nothing that was found points to a part that has failed."

_ELICITED = "The chances rest on elicited figures of how often each part fails (no source)."
_COUNTED = (
    "The chances rest on how often each part was the cause in closed cases, and on elicited figures (no source) where "
    "cases are few or none."
)
_OVERLAP = "Each is the chance that the part has some fault, so they overlap and may add to more than 100%."

_FAINT_BELOW = 0.03
"""A suspicion weaker than this gets no paragraph of its own."""

_RISEN = 1.2
"""A way to fail counts as likelier than before from this factor on."""

_More: TypeAlias = Callable[[PartSuspicion, Checked], list[Line]]

_SET_IN = 8
"""Columns of the probability and the gap after it."""


def suspect_lines(checked: Checked, width: int, more: _More | None = None) -> list[Line]:
    """The section "where the fault lies", with ``more`` on each suspect; nothing when nothing was found wrong."""
    if not judged_wrong(checked.findings) or checked.findings.other_model:
        return []
    strong = [one for one in checked.suspects.parts if one.explains and one.probability >= _FAINT_BELOW][:_SHOWN]
    warned: set[str] = set()
    lines = heading("Where the fault lies")
    if not strong:
        lines += [BLANK, line(" " * _SET_IN, _NO_SUSPECT, hang=_SET_IN)]
    for suspicion in strong:
        lines += [BLANK, *_suspicion_lines(suspicion, checked, width), *(more(suspicion, checked) if more else ())]
        lines += _caution_lines(suspicion, checked, warned)
    return [*lines, *_remainder(checked, strong)]


_OTHER_MODEL = "this profile is for another model"


def likeliest(checked: Checked) -> str:
    """The first suspect in a few words, or why none is named; "" when nothing is wrong."""
    if checked.findings.other_model:
        why = "this is no laptop, but an emulated machine" if checked.profile.generic else _OTHER_MODEL
        return f"No part is named: {why}"
    explaining = [one for one in checked.suspects.parts if one.explains]
    if outcome(checked.findings) is not Outcome.WRONG:
        return ""
    if not judged_wrong(checked.findings):
        return "No part is named: this profile does not say what is wired there"
    if not checked.points_to_a_part:
        if _only_substituted(checked.findings):
            return "No part has failed by this: another part than the profile names is fitted (a second source?)"
        return "No part stands out: what was found may contradict itself, or lie outside the profile"
    first = explaining[0]
    parts = {part.id: part for part in checked.profile.parts}
    name = safe(parts[first.part].name, 60) if first.part in parts else "software"
    way = f" ({way_words(risen(first)[0][0], checked)})" if first.sites else ""
    return f"Likeliest cause: {name}{way}, {percent(first.probability)}"


def _only_substituted(found: Findings) -> bool:
    """Whether all that is wrong is that something else than expected does the work in its place."""
    if found.losses or any(not answer.yes for answer in found.answers):
        return False
    wrong = [one for one in found.findings if one.verdict not in (Verdict.PRESENT, Verdict.UNSEEN)]
    return all(one.verdict is Verdict.SUBSTITUTED and one.symptom is Symptom.WORKING for one in wrong)


def risen(one: PartSuspicion) -> list[tuple[Site, float]]:
    """The ways to fail that are markedly likelier now than before looking; where none is, the likeliest alone."""
    return [(site, chance) for site, chance in one.sites if chance >= _RISEN * site.prior] or list(one.sites[:1])


def way_words(site: Site, checked: Checked) -> str:
    """A way to fail in words; of a device that comes and goes by itself, that its plug in the subassembly is meant too.

    A device with a link of its own in the profile has that as a way to fail of its own.
    """
    at_times = (one.device for one in checked.findings.findings if one.symptom is Symptom.INTERMITTENT)
    its = next((one for one in at_times if site.id == site_id(SiteKind.DEAD, one)), "")
    meant = its and not own_link(its, checked.profile)
    return f"{safe(site.name, 80)}{', its own plug and cable included' if meant else ''}"


def plug_first(one: PartSuspicion, checked: Checked) -> list[str]:
    """What is to be done before a new part is bought, where a device in it alone comes and goes; else nothing."""
    first = plugs_first(checked.findings, checked.profile).get(one.part)
    return [f"{safe(first, 200)} (common practice, no source)"] if first else []


def _caution_lines(one: PartSuspicion, checked: Checked, warned: set[str]) -> list[Line]:
    part = next((part for part in checked.profile.parts if part.id == one.part), None)
    return caution_lines(cautions(part, checked.profile) if part else (), warned)


def head_lines(one: PartSuspicion, checked: Checked, width: int) -> list[Line]:
    """The line that names a suspect: its chance, its name, and what puts it right."""
    parts = {part.id: part for part in checked.profile.parts}
    part = parts.get(one.part)
    name = safe(part.name, 60) if part else "Software, no part to replace"
    remedy = cure(part, parts, checked.profile.money) if part else ""
    head = line((f"{percent(one.probability):>6}", Style.STRONG), "  ", (name, Style.STRONG), hang=_SET_IN)
    return spread(head, remedy, width)


def _suspicion_lines(one: PartSuspicion, checked: Checked, width: int) -> list[Line]:
    telling = max(_FAINT_BELOW / 2, one.probability / 10)
    ways = [f"{way_words(site, checked)} {percent(chance)}" for site, chance in risen(one) if chance >= telling]
    return [
        *head_lines(one, checked, width),
        *labelled("how", ways, _SET_IN),
        *labelled("before buying", plug_first(one, checked), _SET_IN),
        *labelled("explains", names_of(one.explains, checked), _SET_IN),
        *labelled("does not explain", names_of(one.leaves, checked), _SET_IN),
        *labelled("speaks against", [f"{name} is well" for name in names_of(one.against, checked)], _SET_IN),
    ]


def _remainder(checked: Checked, strong: list[PartSuspicion]) -> list[Line]:
    weak = [one for one in checked.suspects.parts if one not in strong and one.probability > 0]
    none = f"nothing that the profile knows {percent(checked.suspects.nothing_wrong)}"
    return [
        BLANK,
        *labelled("or else", [*_brief([one for one in weak if one.explains], checked), none], _SET_IN),
        *labelled("other faults", _brief([one for one in weak if not one.explains], checked), _SET_IN),
        *labelled("unexplained", names_of(checked.suspects.unexplained, checked), _SET_IN),
        *_several(checked),
        line(" " * _SET_IN, (basis(checked.suspects), Style.FAINT), hang=_SET_IN),
    ]


def basis(suspects: Suspects) -> str:
    """What the probabilities rest on, said on every page that has suspects."""
    counted_ = any(rests_on_cases(site) for one in suspects.parts for site, _ in one.sites)
    return f"{_COUNTED if counted_ else _ELICITED} {_OVERLAP}"


def _brief(weak: list[PartSuspicion], checked: Checked) -> list[str]:
    names = {part.id: safe(part.name, 60) for part in checked.profile.parts}
    named = [f"{names.get(one.part, 'software')} {percent(one.probability)}" for one in weak[:_NAMED]]
    return [*named, *([counted(len(weak) - _NAMED, "more part")] if len(weak) > _NAMED else [])]


def _several(checked: Checked) -> list[Line]:
    """The likeliest hypothesis, when it is two or more faults at once."""
    if not checked.suspects.hypotheses or len(checked.suspects.hypotheses[0].sites) < 2:  # noqa: PLR2004
        return []
    best = checked.suspects.hypotheses[0]
    sites = listed([way_words(site, checked) for site in best.sites])
    return labelled("together", [f"the likeliest single account is {sites}: {percent(best.probability)}"], _SET_IN)


def names_of(ids: Sequence[str], checked: Checked) -> list[str]:
    """Devices by name, hand checks by their question."""
    known = {device.id: device.name for device in checked.profile.devices}
    known |= {id_: f"“{asked}”" for id_, asked in questions(checked.profile).items()}
    return [safe(known.get(one, one), 100) for one in ids]

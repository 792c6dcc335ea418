"""Why the named part is the cause: suspects with their reasons, and what was ruled out and how."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from usbwatch.model import PartSuspicion, Profile, StepKind
from usbwatch.plan.cautions import cautions
from usbwatch.show.checked import Checked
from usbwatch.show.localised import Localised
from usbwatch.show.report.value import Cause, Fact, Ruled, Suspect
from usbwatch.show.safe import safe
from usbwatch.show.story import came_back
from usbwatch.show.suspects_in_full import argument
from usbwatch.show.suspects_view import basis, likeliest, names_of, plug_first, risen, way_words
from usbwatch.show.verdict import judged_wrong
from usbwatch.show.words import cure, listed, part_name, percent

__all__ = ["basis_of", "cause", "no_cause", "ruled_out", "suspects"]

_NAMED = 0.02
"""A part less probable than this is no suspect of the report."""

_HEADLINE = 0.2
"""A suspicion weaker than this is no headline: the same bound as on the page of a check."""

_MOST = 6

_NEAR = 0.8
"""From this share of the first on, the second suspect is nearly as likely."""

_SOFTWARE = "Software, no part to replace"


def _can_be_named(checked: Checked) -> bool:
    return judged_wrong(checked.findings) and not checked.findings.other_model


def _telling(checked: Checked) -> list[PartSuspicion]:
    if not _can_be_named(checked):
        return []
    return [one for one in checked.suspects.parts if one.explains and one.probability >= _NAMED][:_MOST]


def suspects(checked: Checked, *, money: bool) -> tuple[Suspect, ...]:
    """The parts that may have failed, likeliest first; ``money``: whether prices are told."""
    return tuple(_suspect(one, checked, money=money) for one in _telling(checked))


def _suspect(one: PartSuspicion, checked: Checked, *, money: bool) -> Suspect:
    telling = max(_NAMED / 2, one.probability / 10)
    parts = {part.id: part for part in checked.profile.parts}
    part = parts.get(one.part)
    return Suspect(
        part=one.part,
        name=safe(part.name, 60) if part else _SOFTWARE,
        probability=one.probability,
        ways=tuple(
            Fact(name=way_words(site, checked), said=percent(chance))
            for site, chance in risen(one)
            if chance >= telling
        ),
        explains=tuple(names_of(one.explains, checked)),
        leaves=tuple(names_of(one.leaves, checked)),
        against=tuple(names_of(one.against, checked)),
        argues_for="".join(argument(one.most_for, one.for_was_wrong, checked)),
        argues_against="".join(argument(one.most_against, one.against_was_wrong, checked)),
        mend="; before that, ".join([_mend(part.id, checked.profile, money=money), *plug_first(one, checked)])
        if part
        else "",
        cautions=tuple(safe(text) for text in cautions(part, checked.profile)) if part else (),
    )


def _mend(part: str, profile: Profile, *, money: bool) -> str:
    parts = {one.id: one for one in profile.parts}
    said = cure(parts[part], parts, profile.money)
    return said if money else said.partition(":")[0]


def cause(localised: Localised) -> Cause | None:
    """The likeliest part, where one stands out, and why."""
    checked = localised.checked
    telling = _telling(checked)
    if not telling or telling[0].probability < _HEADLINE:
        return None
    first = telling[0]
    way, chance = risen(first)[0] if first.sites else (None, 0.0)
    return Cause(
        name=part_name(first.part, checked.profile) if first.part else "Software",
        part=first.part,
        how=_how(way_words(way, checked), chance, first.probability) if way is not None else "",
        probability=first.probability,
        because=tuple(_because(first, telling[1:], localised)),
    )


def _how(words: str, chance: float, whole: float) -> str:
    """How the part fails, with the chance of that where it is not shown to be that of the part itself."""
    return words if percent(chance) == percent(whole) else f"{words}, {percent(chance)}"


def _because(first: PartSuspicion, others: list[PartSuspicion], localised: Localised) -> Iterator[str]:
    """What it explains, what argues most for it where that says more, what was ruled out, and why not the next one."""
    checked = localised.checked
    yield _explained(first, checked)
    argued = argument(first.most_for, first.for_was_wrong, checked)
    if argued and first.most_for not in first.explains:
        yield f"Most for it: {argued[0]}."
    cleared = [one.name for one in ruled_out(localised) if one.name != "Software"]
    if cleared:
        yield f"Ruled out by what was tried and measured: {listed(cleared)}."
    if others:
        second = others[0]
        name = part_name(second.part, checked.profile) if second.part else "software"
        near = "Nearly as likely" if second.probability >= _NEAR * first.probability else "Next likeliest"
        yield f"{near}: {name}, {percent(second.probability)}{_why_not(second, first, checked)}."


def _explained(first: PartSuspicion, checked: Checked) -> str:
    """What the way of failing that the headline names explains: by itself, or together with what likely failed, too."""
    way = risen(first)[0][0] if first.sites else None
    with_it = [one for one in checked.suspects.hypotheses if way in one.sites]
    best = max(with_it, key=lambda one: one.probability, default=None)
    explains, leaves = (best.explains, best.leaves) if best is not None else (first.explains, first.leaves)
    others = [way_words(site, checked) for site in best.sites if site != way] if best is not None else []
    if others:
        who = f"Together with another fault ({listed(others)}) it"
    else:
        who = "This one fault" if best is not None and len(explains) > 1 else "It"
    rest = f"; it leaves {listed(names_of(leaves, checked))}" if leaves else ", all that is wrong"
    return f"{who} explains {listed(names_of(explains, checked))}{rest}."


def _why_not(second: PartSuspicion, first: PartSuspicion, checked: Checked) -> str:
    if second.leaves:
        return f"; it would leave {listed(names_of(second.leaves, checked))} unexplained"
    if second.against:
        well = listed(names_of(second.against, checked)[:2])
        return f"; but then {well} should not be well"
    same = set(second.explains) == set(first.explains)
    return "; it would explain the same, and a step or a measurement tells them apart" if same else ""


def no_cause(checked: Checked) -> str:
    """Why no part is named; "" where one is, or nothing is wrong."""
    said = likeliest(checked)
    return "" if said.startswith("Likeliest cause") else said


def basis_of(checked: Checked) -> str:
    """What the chances rest on; "" where none is told."""
    return basis(checked.suspects) if _telling(checked) else ""


def ruled_out(localised: Localised) -> tuple[Ruled, ...]:
    """What steps and measurements have cleared of what is still wrong; never a part that is still suspected."""
    checked = localised.checked
    if not _can_be_named(checked):
        return ()
    blamed = {one.part for one in checked.suspects.parts if one.probability >= _NAMED}
    found = {part: how for part, how in (*_put_in(localised), *_measured(localised)) if part not in blamed}
    rows = [Ruled(name=part_name(part, checked.profile), how=how) for part, how in found.items()]
    software = next((one.probability for one in checked.suspects.parts if not one.part), 0.0)
    if software < _NEXT_TO_NONE and checked.capture.software.seen:
        rows.append(Ruled(name="Software", how="no driver, setting or block was seen that explains it"))
    return tuple(rows)


_NEXT_TO_NONE = 0.01


def _put_in(localised: Localised) -> Iterator[tuple[str, str]]:
    """Parts that another one is in for, once a capture followed: with what came back, and what stayed wrong."""
    names = {device.id: safe(device.name, 60) for device in localised.checked.profile.devices}
    found: dict[str, str] = {}
    for before, after in pairwise(localised.seen):
        well = listed([names.get(one, one) for one in came_back(before.findings, after.findings)])
        for step in after.steps:
            found.pop(step.of, None)
            if step.kind in (StepKind.SWAP, StepKind.FIT) and after.capture.nodes:
                other = "one known to be good" if step.kind is StepKind.SWAP else "another one"
                came = f"{well} came back; " if well else ""
                found[step.of] = f"{other} was put in: {came}what is wrong now was wrong with it, too"
    yield from found.items()


def _measured(localised: Localised) -> Iterator[tuple[str, str]]:
    """Parts that a meter or another unit has proven, by the latest answer to each."""
    answered = {answer.check: answer.yes for seen in localised.seen for answer in seen.answers}
    for check, yes in answered.items():
        kind, _, part = check.partition(":")
        if yes and kind in _PROVEN:
            yield part, _PROVEN[kind]


_PROVEN = {
    "measure": "measured, and found as it should be",
    "elsewhere": "tried in another unit of the model, and does all its work there",
}

"""What if: the same beliefs, had a part been inspected, a device been seen otherwise, or a check been answered.

A part that is supposed to be good or bad enters as one more observation, an
inspection that hardly ever errs; so nothing is ever ruled out for good.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from usbwatch.errors import BadSupposition
from usbwatch.localise.beliefs import Beliefs, weighed
from usbwatch.localise.courses import Course, courses
from usbwatch.localise.evidence import evidence
from usbwatch.localise.exclusive import Supposition, own_sites, refuse_exclusive
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.weighing import Hazard, Observation
from usbwatch.model.cases import Experience
from usbwatch.model.findings import Answer, Finding, Findings, Symptom
from usbwatch.model.ladder import Rung, Verdict
from usbwatch.model.profile import Profile
from usbwatch.model.steps import Look

__all__ = ["supposing"]

_OF_PARTS = {"good": True, "bad": False}
_OF_CHECKS = {"yes": True, "no": False}
_OF_DEVICES = {
    "working": (Symptom.WORKING, Verdict.PRESENT, Rung.WORKING),
    "absent": (Symptom.ABSENT, Verdict.MISSING, Rung.ABSENT),
    "failed": (Symptom.FAILED, Verdict.IMPAIRED, Rung.ATTACHED),
    "slow": (Symptom.DEGRADED, Verdict.IMPAIRED, Rung.WORKING),
    "silent": (Symptom.MUTE, Verdict.IMPAIRED, Rung.BOUND),
    "undriven": (Symptom.UNDRIVEN, Verdict.IMPAIRED, Rung.CONFIGURED),
    "intermittent": (Symptom.INTERMITTENT, Verdict.IMPAIRED, Rung.WORKING),
}

_GRAMMAR = (
    f'say "PART is {" or ".join(_OF_PARTS)}", "DEVICE {", ".join(_OF_DEVICES)}", or "CHECK {" or ".join(_OF_CHECKS)}"'
)

_INSPECTION_MISSES = 1e-3
"""How often a part that is supposed to be good is bad all the same, as a factor on its odds."""

_INSPECTION_ERRS = 1e-9
"""How often a part that is supposed to be bad is good all the same."""


def supposing(
    profile: Profile, looks: Sequence[Look], suppositions: Sequence[str], *, experience: Experience | None = None
) -> Beliefs:
    """What would be believed if all the suppositions held, after the same looks and cases (``believe``).

    A device or a check counts as if the last look had shown it so. A part that
    is good has none of its faults, its sections' and devices' included; one
    that is bad has at least one. A device can be good or bad as a part can.
    Raises BadSupposition, with one sentence: for words that say nothing, ids
    that the unit does not have, and suppositions that exclude each other
    (``usbwatch.localise.exclusive``).
    """
    layout = lay_out(profile, looks[-1].findings.variant, experience)
    meant = _agreeing([_parsed(said, layout) for said in suppositions])
    refuse_exclusive(meant, layout)
    looks = (*looks[:-1], replace(looks[-1], findings=_as_supposed(looks[-1].findings, meant)))
    taken = courses(layout.sites, looks, layout.profile)
    told = (*evidence(layout, taken, looks), *_inspections(meant, layout, taken))
    return weighed(layout, taken, told, looks)


def _parsed(said: str, layout: Layout) -> Supposition:
    words = said.split()
    if len(words) == 3 and words[1] == "is":  # noqa: PLR2004
        del words[1]
    if len(words) != 2:  # noqa: PLR2004
        raise BadSupposition(said, "is not a supposition", _GRAMMAR)
    of, state = words
    profile = layout.profile
    devices = [device.id for device in profile.devices]
    ids: tuple[tuple[str, list[str], Collection[str]], ...] = (
        ("part or device", [part.id for part in profile.parts] + devices, _OF_PARTS),
        ("device", devices, _OF_DEVICES),
        ("check", [check.id for check in profile.checks], _OF_CHECKS),
    )
    fitting = [(noun, known) for noun, known, states in ids if state in states]
    if not fitting:
        raise BadSupposition(said, f'"{state}" says nothing that is known here', _GRAMMAR)
    noun, known = fitting[0]
    if of not in known:
        raise BadSupposition(said, f'this unit has no {noun} "{of}"', f"known: {', '.join(known) or 'none'}")
    return Supposition(said=said, of=of, state=state)


def _agreeing(meant: list[Supposition]) -> list[Supposition]:
    """Each supposition once; raises BadSupposition where two say different things of the same kind of one id."""
    kept: dict[tuple[str, bool], Supposition] = {}
    for each in meant:
        other = kept.setdefault((each.of, each.state in _OF_PARTS), each)
        if other.state != each.state:
            raise BadSupposition(each.said, f'contradicts "{other.said}"', "leave one of them out")
    return list(kept.values())


def _as_supposed(findings: Findings, meant: Sequence[Supposition]) -> Findings:
    for each in meant:
        if each.state in _OF_DEVICES:
            findings = _with_device(findings, each.of, each.state)
        elif each.state in _OF_CHECKS:
            yes = _OF_CHECKS[each.state]
            known = next((one for one in findings.answers if (one.check, one.yes) == (each.of, yes)), None)
            others = (one for one in findings.answers if one.check != each.of)
            findings = replace(findings, answers=(*others, known or Answer(check=each.of, yes=yes)))
    return findings


def _with_device(findings: Findings, device: str, state: str) -> Findings:
    symptom, verdict, rung = _OF_DEVICES[state]
    supposed = Finding(device=device, verdict=verdict, rung=rung, symptom=symptom, reasons=("supposed",))
    others = (each for each in findings.findings if each.device != device)
    return replace(findings, findings=(*others, supposed))


def _inspections(meant: Sequence[Supposition], layout: Layout, taken: Sequence[Course]) -> Iterator[Observation]:
    for each in meant:
        if each.state in _OF_PARTS:
            yield _inspection(each, _lasting(each, layout, taken))


def _lasting(supposition: Supposition, layout: Layout, taken: Sequence[Course]) -> frozenset[int]:
    """The courses that end in a fault of what is supposed."""
    own = own_sites(supposition.of, layout)
    return frozenset(number for number, course in enumerate(taken) if course.lasts and course.site in own)


def _inspection(supposition: Supposition, own: Collection[int]) -> Observation:
    bad = supposition.state == "bad"
    shows = 1 - _INSPECTION_MISSES if bad else 0.0
    return Observation(
        id=f"supposed:{supposition.of}",
        wrong=bad,
        clean=_INSPECTION_ERRS if bad else 1.0,
        hazards=tuple(Hazard(fault=number, passes=_INSPECTION_MISSES, shows=shows) for number in sorted(own)),
    )

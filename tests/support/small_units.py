"""Small random units: valid profiles of at most 11 sites, looks at them, and steps between the looks."""

from __future__ import annotations

from hypothesis import strategies as st
from support.wired import device, part

from usbwatch.localise.sites import sites
from usbwatch.model import (
    Answer,
    Finding,
    Findings,
    HandCheck,
    Look,
    PartKind,
    Profile,
    Rung,
    Step,
    StepKind,
    Symptom,
    Verdict,
    Watched,
)

__all__ = ["MOST_SITES", "benches", "units"]

MOST_SITES = 11
"""2^11 fault sets: what the definition can be asked for in a test."""

_PARTS = (
    part("section", PartKind.SECTION, "board"),
    part("rail", PartKind.RAIL, "board"),
    part("flex", PartKind.LINK),
)
_WEIGHTS = st.sampled_from((0.2, 1.0, 3.0))


@st.composite
def _profiles(draw: st.DrawFn, most_sites: int = MOST_SITES) -> Profile:
    subassemblies = (part("board"), part("case", weight=draw(_WEIGHTS)))
    parts = (*subassemblies, *draw(st.lists(st.sampled_from(_PARTS), max_size=2, unique=True)))
    ids = [each.id for each in parts]
    devices = []
    for number in range(draw(st.integers(1, 2))):
        needs = draw(st.lists(st.sampled_from(ids), max_size=3, unique=True))
        function = draw(st.sampled_from(("lid", "hub", "battery", "keyboard") if number else ("lid", "hub", "camera")))
        within = draw(st.sampled_from(("board", "case")))
        optional = draw(st.booleans())
        devices.append(device(f"d{number}", function, within, *needs, optional=optional, weight=draw(_WEIGHTS)))
        ids.append(f"d{number}")
    checks = tuple(
        HandCheck(id=f"c{number}", question=f"Check {number}?", needs=tuple(needs))
        for number, needs in enumerate(draw(st.lists(st.lists(st.sampled_from(ids), max_size=3), max_size=2)))
    )
    profile = Profile(id="p", name="p", source="generated", parts=parts, devices=tuple(devices), checks=checks)
    while len(sites(profile)) > most_sites:  # the last check, device or part goes until it is small enough
        profile = _smaller(profile)
    return profile


def _smaller(profile: Profile) -> Profile:
    checks, devices = profile.checks[:-1], profile.devices
    if not profile.checks:
        devices = devices[:-1] if len(devices) > 1 else devices
    parts = profile.parts if profile.checks or len(profile.devices) > 1 else profile.parts[:-1]
    kept = {each.id for each in parts} | {each.id for each in devices}
    return Profile(
        id="p",
        name="p",
        source="generated",
        parts=parts,
        devices=tuple(
            device(
                each.id,
                each.function,
                each.within,
                *(need for need in each.needs if need in kept),
                optional=each.optional,
                weight=each.weight,
            )
            for each in devices
        ),
        checks=checks,
    )


_FOUR_MINUTES = Watched(lasted_ms=240_000, tells=True)


@st.composite
def _found(draw: st.DrawFn, profile: Profile) -> Findings:
    found = tuple(
        Finding(
            device=each.id,
            verdict=Verdict.PRESENT,
            rung=Rung.WORKING,
            symptom=draw(st.sampled_from(Symptom)),
            reasons=(),
            charged_to=draw(st.sampled_from(("", "", "", "d0"))),
            watched=draw(st.sampled_from((None, None, _FOUR_MINUTES))),
        )
        for each in profile.devices
    )
    answers = tuple(
        Answer(check=each.id, yes=draw(st.booleans()), again=draw(st.booleans()))
        for each in profile.checks
        if draw(st.booleans())
    )
    return Findings(profile="p", findings=found, answers=answers)


@st.composite
def units(draw: st.DrawFn) -> tuple[Profile, Findings]:
    """A profile and findings of it: any symptom for each device, some charged, each check answered or not."""
    profile = draw(_profiles())
    return profile, draw(_found(profile))


@st.composite
def benches(draw: st.DrawFn, most_sites: int = 9) -> tuple[Profile, tuple[Look, ...]]:
    """A profile and one to three looks at a unit, with up to two steps before each but the first."""
    profile = draw(_profiles(most_sites))
    ids = [*(each.id for each in profile.parts), *(each.id for each in profile.devices)]
    steps = st.builds(Step, kind=st.sampled_from(StepKind), of=st.sampled_from(ids))
    first = Look(findings=draw(_found(profile)))
    later = [
        Look(
            findings=draw(st.one_of(st.just(first.findings), _found(profile))),
            steps=tuple(draw(st.lists(steps, max_size=2))),
        )
        for _ in range(draw(st.integers(0, 2)))
    ]
    return profile, (first, *later)

"""Small random units: valid profiles of at most 12 sites or so, and findings about them."""

from __future__ import annotations

from hypothesis import strategies as st
from support.wired import device, part

from usbwatch.model import Answer, Finding, Findings, HandCheck, PartKind, Profile, Rung, Symptom, Verdict

__all__ = ["units"]

_PARTS = (
    part("section", PartKind.SECTION, "board"),
    part("rail", PartKind.RAIL, "board"),
    part("flex", PartKind.LINK),
)
_WEIGHTS = st.sampled_from((0.2, 1.0, 3.0))


@st.composite
def _profiles(draw: st.DrawFn) -> Profile:
    subassemblies = (part("board"), part("case", weight=draw(_WEIGHTS)))
    parts = (*subassemblies, *draw(st.lists(st.sampled_from(_PARTS), max_size=2, unique=True)))
    ids = [each.id for each in parts]
    devices = []
    for number in range(draw(st.integers(1, 3))):
        needs = draw(st.lists(st.sampled_from(ids), max_size=3, unique=True))
        function = draw(st.sampled_from(("keyboard", "battery", "hub", "camera")))
        within = draw(st.sampled_from(("board", "case")))
        optional = draw(st.booleans())
        devices.append(device(f"d{number}", function, within, *needs, optional=optional, weight=draw(_WEIGHTS)))
        ids.append(f"d{number}")
    checks = tuple(
        HandCheck(id=f"c{number}", question=f"Check {number}?", needs=tuple(needs))
        for number, needs in enumerate(draw(st.lists(st.lists(st.sampled_from(ids), max_size=3), max_size=2)))
    )
    return Profile(id="p", name="p", source="generated", parts=parts, devices=tuple(devices), checks=checks)


@st.composite
def units(draw: st.DrawFn) -> tuple[Profile, Findings]:
    """A profile and findings of it: any symptom for each device, some charged, each check answered or not."""
    profile = draw(_profiles())
    found = tuple(
        Finding(
            device=each.id,
            verdict=Verdict.PRESENT,
            rung=Rung.WORKING,
            symptom=draw(st.sampled_from(Symptom)),
            reasons=(),
            charged_to=draw(st.sampled_from(("", "", "", "d0"))),
        )
        for each in profile.devices
    )
    answers = tuple(Answer(check=each.id, yes=draw(st.booleans())) for each in profile.checks if draw(st.booleans()))
    return profile, Findings(profile="p", findings=found, answers=answers)

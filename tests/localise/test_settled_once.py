"""What is believed after a step, against a unit whose faults each settle once what they show.

The engine takes a fault that is still there to show mostly as it did, and
reckons with faults that hid each other one at a time. Here the same is summed
without that shortcut: every draw of every fault in both looks, for one device.
"""

from __future__ import annotations

from itertools import product

import pytest
from support.wired import device, found, part

from usbwatch.localise import believe
from usbwatch.localise.fates import fates
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.symptoms import Effect, row
from usbwatch.model import Look, PartKind, Profile, Step, StepKind, Symptom

RADIO = Profile(
    id="p",
    name="p",
    source="generated",
    parts=(part("board"), part("radio-card"), part("section", PartKind.SECTION, "board")),
    devices=(device("wlan", "wlan", "radio-card", "section"),),
)
STAYS = 0.96
OUTLIVES_REPLACEMENT = 0.002

Course = tuple[bool, bool, bool, float]
"""Whether a fault is there in the first look, in the second, whether it is the same one; and how probable that is."""


def every_course(layout: Layout, site: int, step: Step) -> list[Course]:
    prior, fate = layout.sites[site].prior, fates(layout.sites, step, layout.profile)[site]
    put_in = step.kind is StepKind.FIT and layout.sites[site].part == step.of and fate.born > 0
    old = OUTLIVES_REPLACEMENT if put_in else fate.survives
    return [
        (True, True, True, prior * old),
        (True, True, False, prior * (fate.survives - old)),
        (True, False, False, prior * (1 - fate.survives)),
        (False, True, False, (1 - prior) * fate.born),
        (False, False, False, (1 - prior) * (1 - fate.born)),
    ]


def draws(chances: dict[Symptom, float], course: Course) -> list[tuple[Symptom, Symptom, float]]:
    """What a fault does in either look (*working*: it lets pass, or is not there), each with its chance."""
    nothing = {Symptom.WORKING: 1.0}
    first, then, same, _ = course
    found_ = []
    for (one, chance), other in product((chances if first else nothing).items(), chances if then else nothing):
        afresh = (chances if then else nothing)[other]
        stays = (0.97 if one is Symptom.WORKING else STAYS) if same else 0.0
        found_.append((one, other, chance * ((1 - stays) * afresh + stays * (other is one))))
    return found_


def lasting(layout: Layout, target: int, step: Step, seen: Symptom) -> float:
    """Probability that a site's fault is there in the end, when the device shows the same before and after the step."""
    path = layout.paths["wlan"]
    table = {(False, False, False): 1.0}  # shown in the first look, in the second, and whether the fault lasts
    for stop in path:
        after: dict[tuple[bool, bool, bool], float] = {}
        for course in every_course(layout, stop.site, step):
            for (before, now, lasts), weight in table.items():
                for one, other, chance in draws(row(stop.effect, "wlan"), course):
                    if (not before and one not in (Symptom.WORKING, seen)) or (
                        not now and other not in (Symptom.WORKING, seen)
                    ):
                        continue
                    place = (
                        before or one is seen,
                        now or other is seen,
                        course[1] if stop.site == target else lasts,
                    )
                    after[place] = after.get(place, 0.0) + weight * chance * course[3]
        table = after
    leak = row(Effect.WORKS, "wlan")[seen]
    joint = {True: 0.0, False: 0.0}
    for (before, now, lasts), weight in table.items():
        joint[lasts] += weight * (1.0 if before else leak) * (1.0 if now else leak)
    return joint[True] / sum(joint.values())


@pytest.mark.parametrize("seen", [Symptom.ABSENT, Symptom.FAILED, Symptom.MUTE, Symptom.UNDRIVEN])
@pytest.mark.parametrize(
    "step",
    [Step(kind=StepKind.RELOAD, of="wlan"), Step(kind=StepKind.DRAIN, of=""), Step(kind=StepKind.FIT, of="radio-card")],
    ids=lambda step: step.kind.value,
)
def test_every_fault_is_as_probable_as_if_each_had_settled_once_what_it_shows(step: Step, seen: Symptom) -> None:
    shown = found(RADIO, wlan=seen)
    beliefs = believe(RADIO, (Look(findings=shown), Look(findings=shown, steps=(step,))))
    layout = lay_out(RADIO)
    for number, site in enumerate(layout.sites):
        told = sum(
            chance
            for course, chance in zip(beliefs.courses, beliefs.marginals, strict=True)
            if course.site == number and course.lasts
        )
        assert told == pytest.approx(lasting(layout, number, step, seen), abs=0.015), site.id

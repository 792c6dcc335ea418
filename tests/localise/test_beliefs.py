"""What is believed after several looks, against its definition and against the rules of the bench."""

from __future__ import annotations

import pytest
from hypothesis import given
from support.by_definition import lasting_by_definition
from support.small_units import benches
from support.wired import HERON, LARCH, found

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.errors import TooManyLooks
from usbwatch.localise import beliefs, believe, suspects_of
from usbwatch.model import Look, Profile, Step, StepKind, Symptom
from usbwatch.plan import plan
from usbwatch.profile import find, shipped

LOST = Look(findings=found(HERON, absent=["keyboard"]))
NO = Look(findings=found(HERON, answers={"keys": False}))
FLEXED = Step(kind=StepKind.FLEX, of="top-case-flex")
SEATED = Step(kind=StepKind.RESEAT, of="top-case-flex")
ELSEWHERE = Step(kind=StepKind.RELOAD, of="camera")


def looked(*steps: Step, keyboard: Symptom = Symptom.UNSEEN) -> Look:
    """A look at which the keyboard was not seen, unless that is said."""
    return Look(findings=found(HERON, keyboard=keyboard), steps=steps)


@pytest.mark.parametrize(
    ("looks", "holds"),
    [
        ([LOST, looked()], {"keyboard": True}),
        ([LOST, looked(), looked(ELSEWHERE)], {"keyboard": True}),
        ([LOST, looked(FLEXED)], {"keyboard": True}),
        ([LOST, looked(SEATED)], {}),
        ([LOST, looked(SEATED), looked()], {}),
        ([LOST, looked(keyboard=Symptom.WORKING)], {"keyboard": False}),
        ([looked(keyboard=Symptom.WORKING), looked()], {"keyboard": False}),
        ([NO, looked()], {"keys": True, "keyboard": False}),
        ([NO, looked(SEATED)], {}),
    ],
    ids=[
        "not seen again", "a step elsewhere", "moved alone", "seated again", "and looked at once more", "well now",
        "well and not seen again", "an answer", "an answer, and seated",
    ],
)  # fmt: skip
def test_what_was_seen_holds_until_a_step_can_have_changed_it(looks: list[Look], holds: dict[str, bool]) -> None:
    current = believe(HERON, looks).current
    assert {each.id: each.wrong for each in current if each.id in {"keyboard", "keys"}} == holds
    assert len(current) == len({each.id for each in current})


@pytest.mark.parametrize("told", [True, False], ids=["charged to the hub", "not seen"])
@pytest.mark.parametrize(("before", "holds"), [("absent", True), ("well", False)])
def test_a_device_behind_a_lost_hub_is_no_longer_well_and_still_wrong(before: str, holds: bool, told: bool) -> None:
    # Whether the comparison says so or only did not see it: the layout knows what hangs on the hub.
    first = found(LARCH, absent=["keyboard"] if before == "absent" else [])
    hidden = {"charged": {"keyboard": "hub"}} if told else {"unseen": ["keyboard"]}
    looks = (Look(findings=first), Look(findings=found(LARCH, absent=["hub"], **hidden)))
    current = {each.id: each.wrong for each in believe(LARCH, looks).current}
    assert current.get("keyboard", False) is holds
    assert ("keyboard" in current) is holds


def test_what_holds_from_before_is_explained_by_the_faults_that_acted_then() -> None:
    beliefs = believe(HERON, (LOST, looked(ELSEWHERE)))
    keyboard = next(each for each in beliefs.current if each.id == "keyboard")
    assert keyboard.hazards
    assert all(beliefs.courses[hazard.fault].acts[0] for hazard in keyboard.hazards)
    assert suspects_of(beliefs).parts[0].explains == ("keyboard",)


Bench = tuple[Profile, tuple[Look, ...]]


@pytest.mark.properties
@given(bench=benches())
def test_after_any_steps_it_is_the_definition(bench: Bench) -> None:
    profile, looks = bench
    beliefs = believe(profile, looks)
    expected = lasting_by_definition(beliefs.layout, looks)
    lasting = {number: course.site for number, course in enumerate(beliefs.courses) if course.lasts}
    groups = [[n for n, site in lasting.items() if site == each] for each in range(len(beliefs.layout.sites))]
    assert beliefs.every_set is not None
    whole, *each_site = beliefs.shares([list(lasting), *groups])
    assert whole.none == pytest.approx(expected[()], abs=1e-10)
    for site, share in enumerate(each_site):
        assert share.any == pytest.approx(sum(p for faults, p in expected.items() if site in faults), abs=1e-10)
        assert share.any == pytest.approx(sum(beliefs.marginals[n] for n in groups[site]), abs=1e-10)


def test_captures_that_repeat_the_last_one_add_nothing_and_cost_nothing() -> None:
    lost = Look(findings=found(HERON, absent=["keyboard"]))
    once, often = believe(HERON, (lost,)), believe(HERON, (lost,) * 40)
    assert often.courses == once.courses
    assert often.marginals == once.marginals


def test_more_captures_that_differ_than_can_be_weighed_are_refused_with_a_sentence() -> None:
    flapping = [Look(findings=found(HERON, absent=["keyboard"] if number % 2 else [])) for number in range(12)]
    with pytest.raises(TooManyLooks, match="12 captures that differ are too many"):
        believe(HERON, flapping)


@pytest.mark.parametrize(
    ("name", "model"),
    [("larch-13-top-case-lost", "fernhill-larch-13"), ("heron-14-touchpad-silent", "brackwell-heron-14")],
)
def test_rare_faults_that_are_left_out_of_sets_of_three_change_nothing_but_what_is_left_out(
    monkeypatch: pytest.MonkeyPatch, name: str, model: str
) -> None:
    profile = find(model)
    found_ = findings(load(str(shipped("captures") / f"{name}.json")), profile)
    without = believe(profile, (Look(findings=found_),))
    monkeypatch.setattr(beliefs, "LEAST_IN_THREES", beliefs.LEAST_WEIGHED)
    with_them = believe(profile, (Look(findings=found_),))
    assert [len(each.rings) for each in (without, with_them)] == [4, 4]
    assert len(without.rings[3][0]) < len(with_them.rings[3][0]) / 2
    told, whole = suspects_of(without), suspects_of(with_them)
    assert told.hypotheses == whole.hypotheses
    assert (told.parts, told.cures, told.nothing_wrong) == (whole.parts, whole.cures, whole.nothing_wrong)
    assert told.left_out is not None
    assert whole.left_out is not None
    assert 0 < told.left_out - whole.left_out < 0.001
    assert plan(without, found_) == plan(with_them, found_)

"""What a candidate would show."""

from __future__ import annotations

import numpy as np
import pytest
from support.wired import HERON, found

from usbwatch.localise import believe
from usbwatch.localise.tried import measured
from usbwatch.model import Look, Step, StepKind
from usbwatch.model.plan import Action
from usbwatch.plan.candidates import Candidate
from usbwatch.plan.foresight import Branch, Foresight, branches
from usbwatch.plan.information import information_bits
from usbwatch.plan.standing import standing


def ahead(*absent: str) -> Foresight:
    beliefs = believe(HERON, (Look(findings=found(HERON, absent=absent)),))
    return Foresight(beliefs=beliefs, where=standing(beliefs))


def bits(candidate: Candidate, of: Foresight) -> float:
    return information_bits(branches(candidate, of), of.where.cells)


REPEAT = Candidate(action=Action.REPEAT, of="", words="")
SWAP_OF_A_PART_OFF_THE_PATH = Candidate(
    action=Action.SWAP, of="display", words="", step=Step(kind=StepKind.SWAP, of="display")
)


@pytest.mark.parametrize("absent", [("keyboard", "touchpad"), ("gauge",), ("ethernet",)], ids=" ".join)
def test_a_swap_that_no_symptom_can_reach_tells_what_one_more_capture_tells(absent: tuple[str, ...]) -> None:
    # The unit is without power for it, so what had hung starts afresh: that is the drain, not the part.
    of = ahead(*absent)
    drained = bits(Candidate(action=Action.DRAIN, of="", words="", step=Step(kind=StepKind.DRAIN, of="")), of)
    assert bits(SWAP_OF_A_PART_OFF_THE_PATH, of) == pytest.approx(drained, abs=1e-12)
    assert drained - bits(REPEAT, of) < 0.2


def test_where_nothing_hangs_that_is_exactly_a_repeated_capture() -> None:
    of = ahead("ethernet")  # no link on its way, and no firmware of its own; but this capture could have slipped
    assert bits(SWAP_OF_A_PART_OFF_THE_PATH, of) == pytest.approx(bits(REPEAT, of), abs=1e-12)
    assert 0 < bits(REPEAT, of) < 0.05


def test_a_measurement_off_the_path_tells_nothing() -> None:
    of = ahead("keyboard", "touchpad")
    meter = Candidate(
        action=Action.MEASURE, of="display-cable", words="", yes=measured(of.beliefs.layout, "display-cable", yes=True)
    )
    assert bits(meter, of) == pytest.approx(0, abs=1e-12)


def test_the_outcomes_of_a_step_share_all_the_chance() -> None:
    of = ahead("keyboard", "touchpad")
    reseat = Candidate(
        action=Action.RESEAT, of="top-case-flex", words="", step=Step(kind=StepKind.RESEAT, of="top-case-flex")
    )
    found_ = branches(reseat, of)
    assert sum(each.probability for each in found_) == pytest.approx(1)
    assert {each.well for each in found_} >= {(), ("keyboard", "touchpad")}


def test_a_fair_question_with_sure_answers_is_worth_one_bit() -> None:
    # By definition of the bit.
    where = ahead("keyboard", "touchpad").where
    pair = [
        Branch(well=(), origins=np.array(rows), masks=where.masks[rows], chances=np.full(2, 0.25))
        for rows in ([0, 1], [2, 3])
    ]
    assert information_bits(pair, np.arange(4)) == pytest.approx(1)
    assert information_bits(pair, np.array([0, 1, 0, 1])) == pytest.approx(0)


@pytest.mark.parametrize(
    ("candidate", "away"),
    [
        (REPEAT, 0.6),
        (
            Candidate(
                action=Action.FLEX, of="top-case-flex", words="", step=Step(kind=StepKind.FLEX, of="top-case-flex")
            ),
            0.9,
        ),
    ],
    ids=["captured again", "moved while capturing"],
)
def test_a_loose_link_by_itself_shows_as_often_as_it_is_away(candidate: Candidate, away: float) -> None:
    of = ahead("keyboard", "touchpad")
    loose = 1 << [site.id for site in of.where.sites].index("loose:top-case-flex")
    whole = float(of.where.chances[of.where.masks == loose].sum())
    lost = next(each for each in branches(candidate, of) if each.well == ())
    assert float(lost.chances[lost.masks == loose].sum()) == pytest.approx(away * whole)


def test_a_capture_that_is_repeated_says_nothing_of_what_only_a_hand_can_establish() -> None:
    beliefs = believe(HERON, (Look(findings=found(HERON, absent=["keyboard"], answers={"keys": False})),))
    of = Foresight(beliefs=beliefs, where=standing(beliefs))
    assert "keys" in of.behind
    assert all("keys" not in branch.well for branch in branches(REPEAT, of))
    reseat = Candidate(action=Action.RESEAT, of="", words="", step=Step(kind=StepKind.RESEAT, of="top-case-flex"))
    assert any("keys" in branch.well for branch in branches(reseat, of))


def test_an_answer_that_a_step_cannot_change_stands_whatever_the_step_shows() -> None:
    measured_bad = {"measure:top-case-flex": False}
    beliefs = believe(HERON, (Look(findings=found(HERON, absent=["gauge"], answers=measured_bad)),))
    of = Foresight(beliefs=beliefs, where=standing(beliefs))
    steps = {
        Step(kind=StepKind.DRAIN, of=""): False,
        Step(kind=StepKind.RESEAT, of="battery-plug"): False,
        Step(kind=StepKind.FIT, of="top-case-flex"): True,
    }
    for step, reaches_it in steps.items():
        outcomes = branches(Candidate(action=Action(step.kind.value), of=step.of, words="", step=step), of)
        assert any("measure:top-case-flex" in each.well for each in outcomes) is reaches_it

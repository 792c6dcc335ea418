"""What to do next, as a check shows it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.invented import PROFILE, TOP_CASE_LOST, outcome

from usbwatch.model import Action, Advice, HandCheck, Plan, Proposal
from usbwatch.show import Checked, check_view, plain

FIRST, CAPS_LIGHT, *_ = TOP_CASE_LOST.plan.proposals


def flat(checked: Checked) -> str:
    return " ".join(plain(check_view(checked, 80), 80).split())


def with_plan(*proposals: Proposal, advice: Advice = Advice.GO_ON, **changed: object) -> Checked:
    cost = proposals[0].expected_total if proposals else None
    plan = Plan(advice=advice, proposals=proposals, expected_cost=cost, given_up=330)
    return replace(TOP_CASE_LOST, plan=replace(plan, **changed))  # type: ignore[arg-type]


def steps_of(text: str) -> str:
    _, _, told = text.partition("WHAT TO DO NEXT ")
    return told.partition(" HELPER DEVICES")[0]


def steps(checked: Checked) -> str:
    return steps_of(flat(checked))


def test_the_first_step_stands_in_the_verdict_with_what_it_takes() -> None:
    assert "Do next: Open Top-case flex, look at both ends, seat it again, and capture again (EUR 14, 18 min)" in flat(
        TOP_CASE_LOST
    )


def test_the_first_step_says_why_and_the_others_what_they_come_to() -> None:
    second = replace(FIRST, of="display-cable", words="Open Display cable")
    text = steps(with_plan(FIRST, second))
    assert "why It makes the unit well in 57 of 100 cases like this. If nothing changes, that points to" in text
    assert "then mends it in 57 of 100; else points to Top case (41%)" in text


@pytest.mark.parametrize(
    ("mended", "words"),
    [
        (0.001, "then hardly ever mends all of it; else points to Top case (50%)"),
        (0.0051, "then mends it in 1 of 100; else points to Top case (50%)"),
        (0.9999, "then mends it in 99 of 100; else points to Top case (50%)"),
    ],
    ids=["never", "once", "always"],
)
def test_no_outcome_is_said_to_be_certain(mended: float, words: str) -> None:
    ends = (
        outcome("all of it is well", mended, "?", 1, 0, mended=True),
        outcome("same", 1 - mended, "top-case", 0.5, 9),
    )
    assert words in steps(with_plan(CAPS_LIGHT, replace(FIRST, outcomes=ends)))


def test_what_was_a_mistake_is_no_deed_of_a_step() -> None:
    mistake = replace(outcome("all of it is well", 0.4, "?", 0.97, 0, mended=True), slip=0.39)
    ends = (mistake, outcome("nothing changes", 0.6, "top-case", 0.9, 9))
    text = steps(with_plan(FIRST, replace(FIRST, of="display-cable", outcomes=ends)))
    assert "then mends it in 1 of 100; else points to Top case (90%)" in text
    question = replace(FIRST, action=Action.CHECK, outcomes=(replace(mistake, words="yes", mended=False), ends[1]))
    text = steps(with_plan(question))
    assert "40% yes: what was found wrong was a mistake, or is outside the profile (97%) 60%" in text


def test_where_nothing_points_to_a_part_no_unit_is_sold() -> None:
    faint = tuple(replace(one, probability=0.1) for one in TOP_CASE_LOST.suspects.parts)
    stop = with_plan(FIRST, advice=Advice.STOP)
    text = flat(replace(stop, suspects=replace(stop.suspects, parts=faint)))
    assert "Do next: establish in another way what was found wrong; nothing points to a part" in text
    assert "Sell the unit" not in text
    assert "Sell the unit" in flat(stop)


def test_a_question_first_says_what_follows_from_either_answer() -> None:
    text = steps(with_plan(CAPS_LIGHT))
    assert "30% yes: points to Top case (62%); then expected to cost EUR 95" in text
    assert "70% no: points to Top-case flex (88%); then expected to cost EUR 52" in text
    assert text.endswith("to record it, add to the command: 1 --answer caps-light=yes|no")


def test_what_clears_all_that_is_known_points_to_nothing_known() -> None:
    unknown = replace(CAPS_LIGHT, outcomes=(outcome("yes", 1, "?", 0.6, 9), outcome("no", 0.0, "", 0.4, 9)))
    text = steps(with_plan(FIRST, unknown))
    assert "yes points to nothing that the profile knows (60%) no points to software (40%)" in text


def test_a_no_that_means_danger_says_stop() -> None:
    flat_pack = HandCheck(id="caps-light", question="Is the pack flat?", stop="Take it out of use.")
    checked = replace(with_plan(FIRST, CAPS_LIGHT), profile=replace(PROFILE, checks=(flat_pack,)))
    assert "no STOP. Take it out of use." in steps(checked)


@pytest.mark.parametrize(("cost", "close"), [(331, True), (298, True), (296, False), (364, False), (362, True)])
def test_what_the_figures_cannot_decide_is_called_a_close_call(cost: float, close: bool) -> None:
    advice = Advice.GO_ON if cost < 330 else Advice.STOP
    text = flat(with_plan(*([FIRST] if advice is Advice.GO_ON else []), advice=advice, expected_cost=cost))
    assert ("close call" in text.partition("WHAT TO DO NEXT")[0]) is close
    assert ("the figures behind both are estimates, and cannot tell them apart" in steps_of(text)) is close
    if advice is Advice.STOP:
        assert (f"A close call (going on: EUR {cost})" in text) is close


@pytest.mark.parametrize("given_up", [None, 0])
def test_without_a_loss_by_stopping_nothing_is_close(given_up: int | None) -> None:
    assert "close call" not in flat(with_plan(FIRST, given_up=given_up, expected_cost=1))
    assert "close call" not in flat(with_plan(FIRST, expected_cost=None))


RECORDS = {
    Action.RESEAT: "--did reseat:top-case-flex",
    Action.SWAP: "--did swap:top-case-flex",
    Action.FIT: "--did fit:top-case-flex",
    Action.FLEX: "--did flex:top-case-flex",
    Action.RELOAD: "--did reload:top-case-flex",
    Action.CHECK: "--answer top-case-flex=yes|no",
    Action.MEASURE: "--answer measure:top-case-flex=yes|no",
    Action.ELSEWHERE: "--answer elsewhere:top-case-flex=yes|no",
    Action.MOVE: "--did move:top-case-flex",
}


@pytest.mark.parametrize(("action", "typed"), RECORDS.items(), ids=[action.value for action in RECORDS])
def test_it_says_how_to_record_what_came_of_it(action: Action, typed: str) -> None:
    assert steps(with_plan(replace(FIRST, action=action))).endswith(f": 1 {typed}")


def test_leaving_a_unit_without_power_is_recorded_without_a_part() -> None:
    assert steps(with_plan(replace(FIRST, action=Action.DRAIN, of=""))).endswith(" 1 --did drain")


def test_what_a_new_capture_shows_by_itself_needs_no_record() -> None:
    assert "to record it" not in steps(with_plan(replace(CAPS_LIGHT, action=Action.LOOK, of="panel")))


def test_what_a_helper_device_does_needs_no_record() -> None:
    assert "to record it" not in steps(with_plan(replace(CAPS_LIGHT, action=Action.HELPER, of="keyboard")))


def test_when_no_step_pays_the_advice_is_to_stop() -> None:
    checked = with_plan(advice=Advice.STOP)
    assert "Stop here: no step is expected to pay" in flat(checked)
    assert steps(checked) == (
        "No step is expected to pay: stopping here loses EUR 330, and going on is expected to cost no less. "
        "Sell the unit as it is, or for parts."
    )


REPAIR = replace(FIRST, words="Fit a new Top case", action=Action.FIT, expected_total=310)
SAME = replace(
    CAPS_LIGHT,
    expected_total=305,
    outcomes=(outcome("yes", 0.9, "top-case", 0.9, 305), outcome("no", 0.1, "top-case", 0.7, 300)),
)
CHOICE = "Close call: fit a new Top case (would cost EUR 310 to the end; stopping loses EUR 330), or stop"


def test_in_a_close_call_the_choice_stands_above_a_question_that_changes_nothing() -> None:
    checked = replace(with_plan(SAME, REPAIR), repair=REPAIR)
    assert CHOICE in flat(checked).partition("WHAT TO DO NEXT")[0]
    told = (
        "The best repair: Fit a new Top case (EUR 14, 18 min); would cost EUR 310 to the end; stopping loses EUR 330."
    )
    assert told in steps(checked)
    telling = replace(SAME, outcomes=(SAME.outcomes[0], replace(SAME.outcomes[1], points_to="mainboard")))
    assert "Do next: " in flat(replace(with_plan(telling, REPAIR), repair=REPAIR)).partition("WHAT TO DO NEXT")[0]
    assert CHOICE in flat(replace(with_plan(advice=Advice.STOP, expected_cost=335), repair=REPAIR))


def test_the_advice_to_stop_comes_with_what_the_best_repair_would_cost() -> None:
    dear = replace(REPAIR, expected_total=700)
    checked = replace(with_plan(advice=Advice.STOP, expected_cost=690), repair=dear)
    assert "Stop here: no step is expected to pay" in flat(checked)
    assert "would cost EUR 700 to the end; stopping loses EUR 330." in steps(checked)


def test_a_danger_comes_before_all_else() -> None:
    checked = with_plan(advice=Advice.DANGER, stops=("Take the pack out of use.",))
    text = flat(checked)
    assert text.index("STOP. Take the pack out of use.") < text.index("1 of 19 expected devices")
    assert "Do next" not in text
    assert steps(checked) == (
        "First what stands above under STOP: nothing else is proposed until that is settled. It is once its question is"
        " answered with yes, or the part is replaced and that is recorded."
    )


def test_where_the_worth_is_not_known_no_loss_is_named() -> None:
    assert steps(with_plan(FIRST, given_up=None)).startswith("Expected to cost EUR 61 to the end. 1 Open")


def test_of_many_figures_put_in_the_first_and_the_last_are_told() -> None:
    assumed = (*(f"No cost is given for part {number}." for number in range(7)), "The worth is not given.")
    text = steps(with_plan(FIRST, assumed=assumed))
    assert text.endswith("No cost is given for part 0. 6 more figures were put in. The worth is not given.")


def test_a_unit_that_is_well_by_now_is_tried_once_more_before_it_is_closed() -> None:
    text = flat(with_plan(replace(FIRST, action=Action.FLEX), advice=Advice.NOTHING_WRONG))
    assert "BEFORE IT IS CLOSED 1 Open Top-case flex" in text
    assert "Do next" not in text


def test_what_only_looks_once_more_is_not_said_to_mend() -> None:
    second = replace(FIRST, action=Action.FLEX, of="display-cable", words="Move the cable")
    closing = flat(with_plan(FIRST, second, advice=Advice.NOTHING_WRONG))
    assert "then all stays well in 57 of 100; else points to Top case (41%)" in closing
    again = replace(second, action=Action.REPEAT)
    assert "then well by itself in 57 of 100; else points to Top case (41%)" in steps(with_plan(FIRST, again))

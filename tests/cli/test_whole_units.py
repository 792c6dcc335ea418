"""The page of a unit with nothing wrong is made without working out suspects, and is the same page."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_units import units

from usbwatch.capture import load
from usbwatch.cli.one_check import checked
from usbwatch.localise import believe
from usbwatch.model import Advice, Answer, Findings, Look, Plan, Profile, Symptom, Verdict
from usbwatch.plan import plan_and_repair
from usbwatch.profile import find
from usbwatch.show import check_view, plain
from usbwatch.show.checked import NOT_WORKED_OUT
from usbwatch.show.verdict import Outcome, outcome

_CAPTURES = Path(__file__).parents[2] / "captures"
WELL = {
    "larch-13-healthy": "fernhill-larch-13",
    "larch-13-repaired": "fernhill-larch-13",
    "heron-14-healthy": "brackwell-heron-14",
    "plover-12-healthy": "ostrey-plover-12",
}


@pytest.mark.parametrize(("name", "model"), WELL.items(), ids=WELL)
def test_the_page_is_the_one_with_everything_worked_out(name: str, model: str) -> None:
    capture, profile = load(str(_CAPTURES / f"{name}.json")), find(model)
    short, full = (checked(capture, profile, for_page=for_page) for for_page in (True, False))
    assert short.suspects is NOT_WORKED_OUT
    assert full.suspects.nothing_wrong > 0.5
    assert plain(check_view(short, 80), 80) == plain(check_view(full, 80), 80)
    assert (short.plan, short.repair) == (full.plan, full.repair)


@pytest.mark.properties
@given(unit=units(), data=st.data())
def test_nothing_is_proposed_where_nothing_speaks_against_a_part(
    unit: tuple[Profile, Findings], data: st.DataObject
) -> None:
    profile, drawn = unit
    well = st.sampled_from((Symptom.WORKING, Symptom.UNSEEN))
    verdicts = st.sampled_from((Verdict.PRESENT, Verdict.UNSEEN))
    found = tuple(
        replace(one, symptom=data.draw(well), verdict=data.draw(verdicts), charged_to="") for one in drawn.findings
    )
    findings = replace(drawn, findings=found, answers=())
    assert outcome(findings) is not Outcome.WRONG
    assert plan_and_repair(believe(profile, (Look(findings=findings),)), findings) == (
        Plan(advice=Advice.NOTHING_WRONG),
        None,
    )


@pytest.mark.parametrize("name", ["larch-13-top-case-lost", "larch-13-watched", "heron-14-touchpad-silent"])
def test_of_any_other_unit_all_is_worked_out(name: str) -> None:
    capture = load(str(_CAPTURES / f"{name}.json"))
    profile = find("fernhill-larch-13" if name.startswith("larch") else "brackwell-heron-14")
    assert checked(capture, profile, for_page=True) == checked(capture, profile)


def test_an_answer_is_weighed() -> None:
    capture, profile = load(str(_CAPTURES / "larch-13-healthy.json")), find("fernhill-larch-13")
    swollen = (Answer(check="pack-flat", yes=False),)
    told = checked(capture, profile, swollen, for_page=True)
    assert told == checked(capture, profile, swollen)
    assert told.plan.advice is Advice.DANGER

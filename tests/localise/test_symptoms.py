"""The tables: each row is a distribution, and they keep the rules that they were made by."""

from __future__ import annotations

import pytest

from usbwatch.localise.symptoms import ROWS, Effect, row
from usbwatch.model import Symptom

OUTCOMES = set(Symptom) - {Symptom.UNSEEN}
SPOILING = sorted(set(Effect) - {Effect.WORKS}, key=lambda effect: effect.name)


@pytest.mark.parametrize("function", ["keyboard", "battery", ""])
@pytest.mark.parametrize("effect", list(Effect), ids=lambda effect: effect.name)
def test_a_row_is_a_distribution_in_which_nothing_is_impossible(effect: Effect, function: str) -> None:
    chances = row(effect, function)
    assert set(chances) == OUTCOMES
    assert all(0 < chance < 1 for chance in chances.values())
    assert sum(chances.values()) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("effect", [Effect.DEAD, Effect.CARRIER_DEAD], ids=lambda effect: effect.name)
def test_a_false_ok_is_ten_times_rarer_than_a_false_missing(effect: Effect) -> None:
    # Working is near proof, missing is not.
    false_ok = ROWS[effect][Symptom.WORKING]
    false_missing = ROWS[Effect.WORKS][Symptom.ABSENT]
    assert false_ok * 10 <= false_missing * (1 + 1e-12)


def test_a_link_may_let_a_device_work_but_rarely() -> None:
    # Common practice, no source: a half seated flex leaves some lines whole, a dead controller none.
    passing = {effect: ROWS[effect][Symptom.WORKING] for effect in Effect}
    assert passing[Effect.CARRIER_DEAD] < passing[Effect.SECTION] < passing[Effect.LINK] <= 0.1


@pytest.mark.parametrize("effect", [each for each in SPOILING if each is not Effect.SOFTWARE], ids=lambda e: e.name)
def test_only_software_leaves_a_device_undriven_more_often_than_absent(effect: Effect) -> None:
    software = ROWS[Effect.SOFTWARE]
    assert software[Symptom.UNDRIVEN] > software[Symptom.ABSENT]
    assert ROWS[effect][Symptom.UNDRIVEN] < ROWS[effect][Symptom.ABSENT]


@pytest.mark.parametrize("effect", SPOILING, ids=lambda effect: effect.name)
def test_a_lost_battery_is_often_mute_where_another_device_is_absent(effect: Effect) -> None:
    battery, other = row(effect, "battery"), row(effect, "keyboard")
    assert battery[Symptom.MUTE] > other[Symptom.MUTE]
    assert battery[Symptom.ABSENT] < other[Symptom.ABSENT]
    assert sum(battery.values()) == pytest.approx(1)
    same = OUTCOMES - {Symptom.ABSENT, Symptom.MUTE, Symptom.DEGRADED}
    assert {each: battery[each] for each in same} == {each: other[each] for each in same}


def test_what_wears_a_battery_is_in_the_pack() -> None:
    # Common practice, no source: a flex or a rail does not make a gauge report a worn pack.
    for effect in SPOILING:
        inside = effect in (Effect.DEAD, Effect.POOR)
        assert (row(effect, "battery")[Symptom.DEGRADED] >= row(effect, "keyboard")[Symptom.DEGRADED]) == inside


def test_a_healthy_battery_is_no_more_often_mute_than_another_device() -> None:
    assert row(Effect.WORKS, "battery") == ROWS[Effect.WORKS]

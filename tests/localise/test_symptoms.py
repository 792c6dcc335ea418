"""The tables: each row is a distribution, and they keep the rules that they were made by."""

from __future__ import annotations

import pytest

from usbwatch.localise.sites import ACTS_IN_A_WATCH, PRIORS, SiteKind
from usbwatch.localise.symptoms import MOVED_APART, ROWS, SOFTWARE_UNTOLD, WATCHED_ROWS, Effect, row
from usbwatch.model import Symptom

OUTCOMES = set(Symptom) - {Symptom.UNSEEN, Symptom.INTERMITTENT}
SPOILING = sorted(set(Effect) - {Effect.WORKS}, key=lambda effect: effect.name)


@pytest.mark.parametrize("function", ["keyboard", "battery", ""])
@pytest.mark.parametrize("effect", list(Effect), ids=lambda effect: effect.name)
@pytest.mark.parametrize("watched", [False, True])
def test_a_row_is_a_distribution_in_which_nothing_is_impossible(effect: Effect, function: str, watched: bool) -> None:
    chances = row(effect, function, watched=watched)
    assert set(chances) == (OUTCOMES | {Symptom.INTERMITTENT} if watched else OUTCOMES)
    assert all(0 < chance < 1 for chance in chances.values())
    assert sum(chances.values()) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("effect", [Effect.DEAD, Effect.CARRIER_DEAD], ids=lambda effect: effect.name)
def test_a_false_ok_is_ten_times_rarer_than_a_false_missing(effect: Effect) -> None:
    # Working is near proof, missing is not. A healthy device goes missing by a slip of this capture, or by
    # something that the profile does not know and that lasts.
    false_ok = ROWS[effect][Symptom.WORKING]
    unknown = PRIORS[SiteKind.UNKNOWN] * ROWS[Effect.UNKNOWN][Symptom.ABSENT]
    false_missing = ROWS[Effect.WORKS][Symptom.ABSENT] + unknown
    assert false_ok * 10 <= false_missing * (1 + 1e-12)


def test_a_link_may_let_a_device_work_but_rarely() -> None:
    # Common practice, no source: a half seated flex leaves some lines whole, a dead controller none.
    passing = {effect: ROWS[effect][Symptom.WORKING] for effect in Effect}
    assert passing[Effect.CARRIER_DEAD] < passing[Effect.SECTION] < passing[Effect.OPEN] <= 0.1
    # A torn one breaks line by line, and one that comes and goes is not all away.
    assert passing[Effect.OPEN] < passing[Effect.BROKEN] < passing[Effect.LOOSE] < 0.5


@pytest.mark.parametrize("effect", [each for each in SPOILING if each is not Effect.SOFTWARE], ids=lambda e: e.name)
def test_only_software_leaves_a_device_undriven_more_often_than_absent(effect: Effect) -> None:
    software = ROWS[Effect.SOFTWARE]
    assert software[Symptom.UNDRIVEN] > software[Symptom.ABSENT]
    assert ROWS[effect][Symptom.UNDRIVEN] < ROWS[effect][Symptom.ABSENT]


LOSING_A_BATTERY = [each for each in SPOILING if each not in (Effect.UNKNOWN, Effect.POOR_ITSELF)]
"""The unknown is no way in which a battery is lost, and nobody tries a battery's keys."""


@pytest.mark.parametrize("effect", LOSING_A_BATTERY, ids=lambda effect: effect.name)
def test_a_lost_battery_is_often_mute_where_another_device_is_absent(effect: Effect) -> None:
    battery, other = row(effect, "battery"), row(effect, "keyboard")
    assert battery[Symptom.MUTE] > other[Symptom.MUTE]
    assert battery[Symptom.ABSENT] < other[Symptom.ABSENT]
    assert sum(battery.values()) == pytest.approx(1)
    same = OUTCOMES - {Symptom.ABSENT, Symptom.MUTE, Symptom.DEGRADED}
    assert {each: battery[each] for each in same} == {each: other[each] for each in same}


def test_what_wears_a_battery_is_in_the_pack() -> None:
    # Common practice, no source: a flex or a rail does not make a gauge report a worn pack.
    for effect in LOSING_A_BATTERY:
        inside = effect in (Effect.DEAD, Effect.POOR)
        assert (row(effect, "battery")[Symptom.DEGRADED] >= row(effect, "keyboard")[Symptom.DEGRADED]) == inside


def test_a_healthy_battery_is_no_more_often_mute_than_another_device() -> None:
    assert row(Effect.WORKS, "battery") == ROWS[Effect.WORKS]


def test_a_keyboard_that_answers_and_types_nothing_is_worn_before_anything_else() -> None:
    # Common practice, no source. The row times the prior, for a keyboard that was tried and gave no event.
    priors = {
        Effect.POOR_ITSELF: PRIORS[SiteKind.POOR],
        Effect.DEAD: 0.02,
        Effect.SOFTWARE: PRIORS[SiteKind.SOFTWARE],
        Effect.OPEN: PRIORS[SiteKind.OPEN],
        Effect.UNKNOWN: PRIORS[SiteKind.UNKNOWN],
    }
    chances = {effect: prior * row(effect, "keyboard")[Symptom.MUTE] for effect, prior in priors.items()}
    assert chances.pop(Effect.POOR_ITSELF) > 5 * max(chances.values())


def test_what_only_a_hand_can_show_hardly_moves_on_a_capture() -> None:
    assert 0.8 < ROWS[Effect.POOR_ITSELF][Symptom.WORKING] < 1


def test_what_firmware_set_up_cannot_switch_off_leaves_a_trace_when_software_is_the_cause() -> None:
    assert SOFTWARE_UNTOLD[""] < 0.01 < min(chance for function, chance in SOFTWARE_UNTOLD.items() if function)
    assert all(0 < chance < 1 for chance in SOFTWARE_UNTOLD.values())


@pytest.mark.parametrize("effect", SPOILING, ids=lambda effect: effect.name)
def test_watching_takes_from_every_other_outcome_and_turns_none_about(effect: Effect) -> None:
    # A fault that comes and goes would else have been seen well or wrong at the moment of the capture.
    plain, watched = ROWS[effect], WATCHED_ROWS[effect]
    assert all(watched[each] < plain[each] for each in OUTCOMES)
    wrong = OUTCOMES - {Symptom.WORKING}
    assert {each: watched[each] / plain[each] for each in wrong} == pytest.approx(
        dict.fromkeys(wrong, watched[Symptom.ABSENT] / plain[Symptom.ABSENT])
    )


def test_what_comes_and_goes_is_a_loose_contact_before_anything_else() -> None:
    # Common practice, no source: contacts first; then links in other ways, a rail that sags, a cracked joint; a device
    # by itself rarely, software seldom. The row times the prior, for a device whose neighbours tell nothing.
    shows = {effect: WATCHED_ROWS[effect][Symptom.INTERMITTENT] for effect in Effect}
    loose = PRIORS[SiteKind.LOOSE] * ACTS_IN_A_WATCH[SiteKind.LOOSE] * shows[Effect.LOOSE]
    links = [PRIORS[SiteKind.OPEN] * shows[Effect.OPEN], PRIORS[SiteKind.BROKEN] * shows[Effect.BROKEN]]
    boards = [PRIORS[SiteKind.RAIL] * shows[Effect.RAIL], PRIORS[SiteKind.SECTION] * shows[Effect.SECTION]]
    itself = [PRIORS[SiteKind.DEAD] * shows[Effect.DEAD], PRIORS[SiteKind.SOFTWARE] * shows[Effect.SOFTWARE]]
    assert loose > max(links) > min(links) > max(boards)
    assert loose > 5 * max(itself)
    assert shows[Effect.SOFTWARE] < shows[Effect.DEAD] < shows[Effect.HUNG] < shows[Effect.OPEN]


def test_a_device_that_stays_while_it_is_watched_speaks_against_what_would_let_it_go() -> None:
    assert row(Effect.LOOSE, "keyboard", watched=True)[Symptom.WORKING] < row(Effect.LOOSE, "keyboard")[Symptom.WORKING]
    assert 0 < MOVED_APART < 1

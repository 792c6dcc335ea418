"""Mistakes that diagnosis makes, each with a test that would catch it. Cases are common practice, without a source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device, found

from usbwatch.localise import believe, suspects, suspects_of
from usbwatch.localise.symptoms import ROWS, Effect
from usbwatch.model import Look, Profile, Step, StepKind, Suspects, Symptom

JOINS = {"top-case-flex": ("mainboard", "top-case"), "battery-plug": ("mainboard", "battery-pack")}
UNIT = replace(HERON, parts=tuple(replace(part, joins=JOINS.get(part.id, ())) for part in HERON.parts))
"""The Heron with links that say what they join, so that a swap of the top case opens its flex."""

POWER_BUTTON = {"power-button": True}
LOST = Look(findings=found(UNIT, absent=("keyboard", "touchpad", "gauge"), answers=POWER_BUTTON))


def chance(told: Suspects, part: str) -> float:
    return next(each.probability for each in told.parts if each.part == part)


def of_site(told: Suspects, id_: str) -> float:
    return next(p for part in told.parts for site, p in part.sites if site.id == id_)


def after(kind: StepKind, of: str, absent: tuple[str, ...] = ()) -> Look:
    return Look(findings=found(UNIT, absent=absent, answers=POWER_BUTTON), steps=(Step(kind=kind, of=of),))


def in_turn(*looks: Look, profile: Profile = UNIT) -> Suspects:
    return suspects_of(believe(profile, looks))


def test_1_a_profile_that_leaves_a_dependency_out_tells_another_part() -> None:
    # A wrong profile beats every policy. Leave out that the touchpad hangs on the flex, and the flex is acquitted:
    # what the engine tells is only as good as this, so that profiles are checked hard (usbwatch.profile).
    # The right one convicts what the two share, and no other part.
    pad = next(each for each in UNIT.devices if each.id == "touchpad")
    loose = replace(pad, needs=tuple(need for need in pad.needs if need != "top-case-flex"))
    wrong = replace(UNIT, devices=tuple(loose if each.id == "touchpad" else each for each in UNIT.devices))
    lost = ("keyboard", "touchpad")
    right, misled = (suspects(found(each, absent=lost), each) for each in (UNIT, wrong))
    assert chance(misled, "top-case-flex") < chance(right, "top-case-flex") / 2


def test_2_a_swap_that_brings_all_back_but_the_gauge_does_not_convict_the_mainboard() -> None:
    # Ask for the cheap cable before the dear board: as long as the flex stayed in, its battery lines can be torn.
    told = in_turn(LOST, after(StepKind.SWAP, "top-case", absent=("gauge",)))
    assert chance(told, "mainboard") < 0.5
    cheap = chance(told, "battery-plug") + chance(told, "top-case-flex")
    assert cheap > chance(told, "mainboard")
    assert of_site(told, "broken:top-case-flex") > 0


@pytest.mark.parametrize("profile", [HERON, LARCH], ids=lambda profile: profile.id)
def test_3_working_is_near_proof_and_missing_is_not(profile: Profile) -> None:
    for each in (one for one in profile.devices if one.function in ("keyboard", "camera", "card-reader")):
        prior = of_site(
            suspects(found(profile, unseen=[one.id for one in profile.devices]), profile), f"dead:{each.id}"
        )
        well = of_site(suspects(found(profile), profile), f"dead:{each.id}")
        ill = of_site(suspects(found(profile, absent=[each.id]), profile), f"dead:{each.id}")
        assert well < prior / 1000
        assert prior < ill < 0.9


def test_4_two_unseen_interfaces_of_one_lost_device_lift_no_suspect() -> None:
    # Entered as two more absences they once lifted one suspect from 0.10 to 0.80.
    behind = ("keyboard", "touchpad")
    hidden = found(LARCH, absent=["hub"], unseen=["fingerprint", "camera"], charged=dict.fromkeys(behind, "hub"))
    alone = found(LARCH, absent=["hub"], unseen=["fingerprint", "camera", *behind])
    twice = found(LARCH, absent=["hub", *behind], unseen=["fingerprint", "camera"])
    counted, right, wrong = (suspects(each, LARCH) for each in (hidden, alone, twice))
    assert counted == right
    assert wrong != right


def test_5_a_single_loss_leaves_room_for_what_the_profile_does_not_know() -> None:
    # No leak, no humility: a fifth of the "over 90 %" answers were wrong without one.
    told = suspects(found(HERON, absent=["ethernet"]), HERON)
    assert 0.02 < told.nothing_wrong < 0.3
    assert sum(each.probability for each in told.parts if "ethernet" in each.explains) < 1


def test_6_a_part_from_the_shelf_can_be_bad_so_one_contradiction_is_no_dead_end() -> None:
    # A donor that is declared certainly good makes one contradiction incurable.
    lost = Look(findings=found(UNIT, absent=["camera", "panel"]))
    same = Look(findings=found(UNIT, absent=["camera", "panel"]), steps=(Step(kind=StepKind.SWAP, of="display"),))
    cable = Look(findings=same.findings, steps=(Step(kind=StepKind.SWAP, of="display-cable"),))
    once, again = in_turn(lost, same), in_turn(lost, same, cable)
    # With the cable changed as well and nothing better, the display is believed in again, though it was swapped.
    assert chance(again, "display") > 5 * chance(once, "display")
    assert chance(again, "display-cable") < chance(once, "display-cable")


def test_6_a_second_new_part_can_have_the_same_symptom() -> None:
    lost = Look(findings=found(UNIT, absent=["ethernet"]))
    fitted = Look(findings=lost.findings, steps=(Step(kind=StepKind.FIT, of="mainboard"),))
    once, twice = in_turn(lost, fitted), in_turn(lost, fitted, fitted)
    assert (
        0 < of_site(twice, "dead:ethernet") < of_site(once, "dead:ethernet") < of_site(in_turn(lost), "dead:ethernet")
    )
    assert of_site(twice, "dead:ethernet") > 0.001


def test_7_a_swap_reseats_connectors_so_that_it_does_not_convict_the_part() -> None:
    # All is well after the swap. Was it the part, or its plug? What the cures say of before is what the swap mended.
    healed = believe(UNIT, (LOST, after(StepKind.SWAP, "top-case")))
    mended = {"open:top-case-flex": 0.0, "whole:top-case": 0.0}
    for course, probability in zip(healed.courses, healed.marginals, strict=True):
        id_ = healed.layout.sites[course.site].id
        if id_ in mended and course.acts[0] and not course.lasts:
            mended[id_] += probability
    assert mended["open:top-case-flex"] > mended["whole:top-case"] > 0


def test_8_look_alikes_are_ranked_by_priors_that_say_where_they_come_from() -> None:
    told = suspects(found(HERON, absent=["keyboard"]), HERON)
    assert all(site.origin for part in told.parts for site, _ in part.sites)
    heavy = replace(
        HERON, devices=tuple(replace(each, weight=4.0) if each.id == "camera" else each for each in HERON.devices)
    )
    alike = [of_site(suspects(found(each, absent=["camera"]), each), "dead:camera") for each in (HERON, heavy)]
    assert alike[1] > alike[0]


def test_9_what_is_explained_away_is_shown_in_a_pair() -> None:
    among = suspects(LOST.findings, UNIT)
    assert of_site(among, "dead:keyboard") < of_site(suspects(found(UNIT, absent=["keyboard"]), UNIT), "dead:keyboard")
    pairs = [{site.id for site in each.sites} for each in among.hypotheses if len(each.sites) > 1]
    assert any("dead:keyboard" in pair or "dead:gauge" in pair for pair in pairs)


def test_11_a_unit_with_nothing_wrong_has_a_place_of_its_own() -> None:
    told = suspects(found(HERON), HERON)
    assert told.hypotheses[0].sites == ()
    assert told.nothing_wrong > max(each.probability for each in told.parts)
    assert of_site(told, "loose:top-case-flex") > of_site(told, "open:top-case-flex")


def test_11_an_intermittent_fault_is_not_closed_by_one_good_look() -> None:
    back = Look(findings=found(UNIT))
    lost = Look(findings=found(UNIT, absent=["camera", "panel"]))
    gone = in_turn(lost, back)
    assert gone.parts[0].part == "display-cable"
    assert of_site(gone, "loose:display-cable") > 0.5
    # A good look while the cable is moved says more, and one with another cable in says most.
    moved = Look(findings=back.findings, steps=(Step(kind=StepKind.FLEX, of="display-cable"),))
    changed = Look(findings=back.findings, steps=(Step(kind=StepKind.FIT, of="display-cable"),))
    shaken, replaced = in_turn(lost, back, moved), in_turn(lost, back, changed)
    assert of_site(shaken, "loose:display-cable") < of_site(gone, "loose:display-cable")
    assert of_site(replaced, "loose:display-cable") < 0.05


def test_12_what_is_left_out_is_a_matter_of_the_evidence_and_not_of_the_priors() -> None:
    # Prior mass beyond two faults says nothing about posterior mass beyond two.
    silent = believe(HERON, (Look(findings=found(HERON, unseen=[each.id for each in HERON.devices])),), depth=2)
    separate = found(HERON, absent=["ethernet", "gauge", "camera"], touchpad=Symptom.DEGRADED)
    many = believe(HERON, (Look(findings=separate),), depth=2)
    assert silent.left_out is not None
    assert many.left_out is not None
    assert silent.left_out < 0.05
    assert many.left_out > 0.9
    # So one more fault is weighed when that matters, and what is still left out is said.
    deeper = believe(HERON, (Look(findings=separate),))
    assert len(deeper.rings) - 1 == 3
    assert deeper.left_out is not None
    assert 0 < deeper.left_out < many.left_out


def test_3_no_row_of_the_tables_lets_a_dead_device_work() -> None:
    assert ROWS[Effect.DEAD][Symptom.WORKING] < ROWS[Effect.SOFTWARE][Symptom.WORKING] / 100


def test_a_part_that_nothing_depends_on_keeps_its_prior() -> None:
    lone = replace(UNIT, devices=(*UNIT.devices, device("lamp", "sensor", "mainboard")))
    before, now = (suspects(found(lone, absent=lost, unseen=["lamp"]), lone) for lost in ((), ("camera",)))
    assert of_site(now, "dead:lamp") == pytest.approx(of_site(before, "dead:lamp"), rel=1e-9)

"""Suspects as a bench would want them. Cases of the trade are common practice and have no source."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.by_definition import posterior_by_definition
from support.small_units import units
from support.wired import HERON, LARCH, bench_sized, device, found

from usbwatch.localise import believe, suspects
from usbwatch.localise.paths import lay_out
from usbwatch.localise.sites import UNKNOWN_PART
from usbwatch.localise.suspicion import HYPOTHESES_KEPT, LEAST_PROBABILITY
from usbwatch.model import (
    Answer,
    ExpectedDevice,
    Finding,
    Findings,
    HandCheck,
    Hypothesis,
    Look,
    Part,
    PartKind,
    PartSuspicion,
    Profile,
    Rung,
    Suspects,
    Symptom,
    Verdict,
)

TOP_CASE_LOSS = ("keyboard", "touchpad", "gauge")
BEHIND_HUB = ("keyboard", "touchpad", "fingerprint", "camera")
HUB_LOST = found(LARCH, absent=["hub"], charged=dict.fromkeys(BEHIND_HUB, "hub"))


def of_part(found_: Suspects, part: str) -> PartSuspicion:
    return next(each for each in found_.parts if each.part == part)


def of_site(found_: Suspects, id_: str) -> float:
    return next(p for part in found_.parts for site, p in part.sites if site.id == id_)


def of_set(found_: Suspects, *ids: str) -> Hypothesis:
    return next(each for each in found_.hypotheses if {site.id for site in each.sites} == set(ids))


# The trade: common practice, no source.


TRIO = ("dead:keyboard", "dead:touchpad", "dead:gauge")


@pytest.mark.parametrize(
    "cause",
    [
        pytest.param(("open:top-case-flex",), id="flex"),
        pytest.param(("whole:top-case", "dead:gauge"), id="top case side"),
        pytest.param(("rail:top-case-rail", "dead:gauge"), id="mainboard side, a rail"),
        pytest.param(("section:power-section", "section:usb-section"), id="mainboard side, two sections"),
    ],
)
def test_a_shared_cause_comes_before_three_separate_dead_parts(cause: tuple[str, ...]) -> None:
    # Keyboard, touchpad and gauge are lost; nothing else on their paths was looked at.
    findings = found(HERON, absent=TOP_CASE_LOSS, unseen=["camera"])
    beliefs = believe(HERON, (Look(findings=findings),), depth=3)
    chances = {
        frozenset(beliefs.layout.sites[beliefs.courses[n].site].id for n in members): float(chance)
        for sets, chances in beliefs.rings
        for members, chance in zip(sets, chances, strict=True)
    }
    assert chances[frozenset(cause)] > 2 * chances[frozenset(TRIO)]


def test_three_losses_behind_one_flex_point_to_the_flex() -> None:
    found_ = suspects(found(HERON, absent=TOP_CASE_LOSS), HERON)
    assert found_.parts[0].part == "top-case-flex"
    assert found_.parts[0].explains == TOP_CASE_LOSS


def test_a_working_power_button_behind_the_flex_argues_against_the_flex() -> None:
    before = suspects(found(HERON, absent=TOP_CASE_LOSS), HERON)
    after = suspects(found(HERON, absent=TOP_CASE_LOSS, answers={"power-button": True}), HERON)
    assert of_part(after, "top-case-flex").probability < of_part(before, "top-case-flex").probability
    assert of_part(after, "mainboard").probability > 4 * of_part(before, "mainboard").probability
    assert of_set(after, "open:top-case-flex").against == ("power-button",)
    assert of_part(after, "top-case-flex").against == ("power-button",)


def test_one_dead_keyboard_alone_points_to_the_top_case_before_the_mainboard() -> None:
    found_ = suspects(found(HERON, absent=["keyboard"]), HERON)
    assert found_.parts[0].part == "top-case"
    assert found_.parts[0].probability > 0.8
    assert of_part(found_, "mainboard").probability < 0.05


def test_camera_and_panel_lost_together_point_to_the_display_cable() -> None:
    found_ = suspects(found(HERON, absent=["camera", "panel"]), HERON)
    assert [each.part for each in found_.parts[:2]] == ["display-cable", "display"]


def test_a_device_that_no_driver_holds_is_first_a_matter_of_software() -> None:
    found_ = suspects(found(HERON, camera=Symptom.UNDRIVEN), HERON)
    assert (found_.parts[0].part, found_.parts[0].sites[0][0].id) == ("", "software:camera")
    assert found_.parts[0].probability > 0.9


def test_a_mute_gauge_points_to_pack_and_plug_and_not_to_a_healthy_unit() -> None:
    found_ = suspects(found(HERON, gauge=Symptom.MUTE), HERON)
    assert {each.part for each in found_.parts[:2]} == {"battery-pack", "battery-plug"}
    assert found_.nothing_wrong < 0.05


def test_a_keyboard_that_answers_while_keys_fail_is_the_top_case() -> None:
    found_ = suspects(found(HERON, answers={"keys": False}), HERON)
    assert found_.parts[0].part == "top-case"
    assert found_.hypotheses[0].sites[0].id == "poor:keyboard"
    assert found_.hypotheses[0].against == ()


def test_a_unit_that_is_all_well_has_nothing_wrong() -> None:
    pointer = HandCheck(id="pointer", question="Does the pointer follow a finger?", needs=("touchpad",))
    profile = replace(HERON, checks=(*HERON.checks, pointer))
    seen = suspects(found(profile), profile)
    checked = suspects(found(profile, answers={check.id: True for check in profile.checks}), profile)
    assert seen.hypotheses[0].sites == ()
    # What no capture can show (keys that do not type, a dim panel) stays open until it was tried by hand.
    assert 0.9 < seen.nothing_wrong < checked.nothing_wrong
    # A link that makes contact only at times may have made it just then: its weight is what is left.
    loose = sum(p for part in checked.parts for site, p in part.sites if site.id.startswith("loose:"))
    assert checked.nothing_wrong > 0.99 - loose
    assert loose < 0.006


def test_without_evidence_every_suspicion_is_its_prior() -> None:
    # Depth 3 of about 40 sites: what the cut leaves out changes a prior by less than a hundredth of it.
    found_ = suspects(found(HERON, unseen=[each.id for each in HERON.devices]), HERON, depth=3)
    for part in found_.parts:
        assert (part.explains, part.leaves, part.against) == ((), (), ())
        for site, probability in part.sites:
            assert probability == pytest.approx(site.prior, rel=0.01)


# A lost hub and its children: counted once.


def test_children_charged_to_a_lost_hub_add_nothing() -> None:
    silent = replace(HUB_LOST, findings=tuple(each for each in HUB_LOST.findings if each.device not in BEHIND_HUB))
    assert suspects(HUB_LOST, LARCH) == suspects(silent, LARCH)


def test_a_lost_hub_comes_before_the_flex_beyond_it() -> None:
    found_ = suspects(HUB_LOST, LARCH)
    assert found_.hypotheses[0].sites[0].id == "dead:hub"
    assert of_part(found_, "top-case-flex").probability == pytest.approx(0.02, rel=0.2)
    assert of_part(found_, "top-case-flex").explains == ()


def test_entering_the_children_too_would_count_one_loss_five_times() -> None:
    # This is what charging them prevents.
    twice = suspects(found(LARCH, absent=["hub", *BEHIND_HUB]), LARCH)
    assert twice.nothing_wrong < suspects(HUB_LOST, LARCH).nothing_wrong / 1e6


@pytest.mark.parametrize("children", range(1, 5))
def test_splitting_a_missing_device_changes_no_odds_between_its_causes(children: int) -> None:
    names = BEHIND_HUB[:children]
    kept = [each for each in LARCH.devices if each.id not in BEHIND_HUB or each.id in names]
    bare = replace(LARCH, devices=tuple(each for each in LARCH.devices if each.id not in BEHIND_HUB))
    split = replace(LARCH, devices=tuple(kept))
    one = suspects(found(bare, absent=["hub"]), bare)
    many = suspects(found(split, absent=["hub"], charged=dict.fromkeys(names, "hub")), split)

    def odds(found_: Suspects) -> list[float]:
        causes = ("unknown:hub", "software:hub", "section:usb-section")
        return [of_set(found_, cause).probability / of_set(found_, "dead:hub").probability for cause in causes]

    assert odds(many) == pytest.approx(odds(one), rel=1e-12)


# What carries no weight, and what order does not matter.


@pytest.mark.properties
@given(unit=units())
def test_what_is_unseen_changes_nothing_bit_for_bit(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    seen = tuple(each for each in findings.findings if each.symptom is not Symptom.UNSEEN and not each.charged_to)
    assert suspects(findings, profile) == suspects(replace(findings, findings=seen), profile)


@pytest.mark.properties
@given(unit=units())
def test_the_order_of_evidence_does_not_matter(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    for order in permutations(findings.findings):
        shuffled = replace(findings, findings=order, answers=findings.answers[::-1])
        assert suspects(shuffled, profile) == suspects(findings, profile)


def test_an_optional_device_that_is_absent_changes_nothing() -> None:
    optional = replace(HERON, devices=(*HERON.devices, device("pen", "pen", "display", "display-cable", optional=True)))
    missing, unseen = (suspects(found(optional, pen=each), optional) for each in (Symptom.ABSENT, Symptom.UNSEEN))
    assert missing == unseen
    assert suspects(found(optional, pen=Symptom.WORKING), optional) != unseen


# Suspects against the definition.


@pytest.mark.properties
@given(unit=units())
def test_marginals_are_sums_over_all_fault_sets(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    layout = lay_out(profile)
    beliefs = posterior_by_definition(layout, findings)
    ours = suspects(findings, profile)

    def with_any(sites: set[int]) -> float:
        return sum(p for faults, p in beliefs.items() if not sites.isdisjoint(faults))

    known = {n for n, site in enumerate(layout.sites) if site.part != UNKNOWN_PART}
    assert ours.nothing_wrong == pytest.approx(1 - with_any(known), abs=1e-10)
    for part in ours.parts:
        mended = {n for n, site in enumerate(layout.sites) if site.part == part.part}
        assert part.probability == pytest.approx(with_any(mended), abs=1e-10)
        for site, probability in part.sites:
            assert probability == pytest.approx(with_any({layout.sites.index(site)}), abs=1e-10)
    for hypothesis in ours.hypotheses:
        faults = tuple(sorted(layout.sites.index(site) for site in hypothesis.sites))
        assert hypothesis.probability == pytest.approx(beliefs[faults], abs=1e-10)
    for each in ours.cures:
        mended = {n for n, site in enumerate(layout.sites) if site.cure == each.cure}
        rest = set(range(len(layout.sites))) - mended
        assert each.probability == pytest.approx(with_any(mended), abs=1e-10)
        only = sum(p for faults, p in beliefs.items() if faults and rest.isdisjoint(faults))
        assert each.alone == pytest.approx(only, abs=1e-10)


@pytest.mark.properties
@given(unit=units(), depth=st.integers(0, 3))
def test_hypotheses_have_their_exact_probability_and_the_rest_is_left_out(
    unit: tuple[Profile, Findings], depth: int
) -> None:
    profile, findings = unit
    beliefs = believe(profile, (Look(findings=findings),), depth)
    expected = posterior_by_definition(beliefs.layout, findings)
    ours: dict[tuple[int, ...], float] = {}
    for sets, chances in beliefs.rings:
        for members, chance in zip(sets, chances, strict=True):
            # A link that is loose and away, and one that is loose and not, are the same fault.
            faults = tuple(sorted({beliefs.courses[n].site for n in members}))
            ours[faults] = ours.get(faults, 0.0) + float(chance)
    assert all(chance == pytest.approx(expected[faults], abs=1e-10) for faults, chance in ours.items())
    assert beliefs.left_out == pytest.approx(sum(p for faults, p in expected.items() if faults not in ours), abs=1e-10)
    missed = sum(p for faults, p in expected.items() if len(faults) <= depth and faults not in ours)
    assert missed < 1e-4  # sets with a fault that is next to impossible


@pytest.mark.properties
@given(unit=units())
def test_suspects_are_ranked_and_tell_every_finding_once(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    found_ = suspects(findings, profile)
    assert [each.probability for each in found_.parts] == sorted(
        (each.probability for each in found_.parts), reverse=True
    )
    assert 1 <= len(found_.hypotheses) <= HYPOTHESES_KEPT
    assert len({each.sites for each in found_.hypotheses}) == len(found_.hypotheses)
    assert sum(each.probability for each in found_.hypotheses) < 1 + 1e-9
    assert all(0 < each.probability <= 1 for each in found_.parts)
    assert {each.part for each in found_.parts} == {site.part for site in lay_out(profile).sites} - {UNKNOWN_PART}
    told = [{*each.explains, *each.leaves} for each in found_.hypotheses]
    told += [{*each.explains, *each.leaves} for each in found_.parts]
    assert all(each == told[0] for each in told)
    assert all(not {*each.explains} & {*each.leaves} for each in found_.hypotheses)
    assert set(found_.unexplained) <= told[0]


# What a hypothesis accounts for.


def test_a_hypothesis_says_what_it_explains_leaves_and_has_against_it() -> None:
    found_ = suspects(found(HERON, absent=["keyboard", "touchpad", "panel"]), HERON)
    flex = of_part(found_, "top-case-flex")
    assert (flex.explains, flex.leaves, flex.against) == (("keyboard", "touchpad"), ("panel",), ("gauge",))
    pair = found_.hypotheses[0]
    assert len(pair.sites) == 2
    assert (pair.explains, pair.leaves) == (("keyboard", "touchpad", "panel"), ())


def test_a_part_is_told_by_its_likeliest_way_to_fail() -> None:
    # The ethernet works, and sits on the mainboard: that says nothing against the mainboard's USB section.
    found_ = suspects(found(HERON, absent=["keyboard", "touchpad", "camera"]), HERON)
    board = of_part(found_, "mainboard")
    assert board.sites[0][0].id == "section:usb-section"
    assert (board.explains, board.against) == (("keyboard", "touchpad", "camera"), ())


def test_an_unlikely_pair_is_shown_beside_the_single_fault_that_explains_it_away() -> None:
    # Explaining away is right, but reads like an acquittal. Show the pair.
    alone = suspects(found(HERON, absent=["keyboard"]), HERON)
    among = suspects(found(HERON, absent=TOP_CASE_LOSS), HERON)
    assert of_site(among, "dead:keyboard") < of_site(alone, "dead:keyboard") / 10
    assert of_set(among, "open:top-case-flex", "dead:keyboard").probability > LEAST_PROBABILITY


def test_look_alikes_are_ranked_by_their_priors() -> None:
    # No evidence here can tell left from right, but for its prior.
    twins = replace(
        HERON,
        devices=(device("left", "sensor", "display", weight=3), device("right", "sensor", "top-case")),
        checks=(HandCheck(id="both", question="Do both sensors react?", needs=("left", "right")),),
    )
    found_ = suspects(found(twins, unseen=["left", "right"], answers={"both": False}), twins)
    left, right = of_site(found_, "dead:left"), of_site(found_, "dead:right")
    assert left > right
    singles = of_set(found_, "dead:left").probability / of_set(found_, "dead:right").probability
    assert singles == pytest.approx((0.03 / 0.97) / (0.01 / 0.99), rel=1e-12)


# Humility.


def test_what_no_part_can_account_for_is_said_and_convicts_nobody() -> None:
    # No leak, no humility.
    profile = replace(HERON, checks=(HandCheck(id="smell", question="Is it free of burnt smell?"),))
    found_ = suspects(found(profile, answers={"smell": False}), profile)
    assert found_.unexplained == ("smell",)
    assert found_.nothing_wrong > 0.9


def test_working_is_near_proof_and_missing_is_not() -> None:
    # On a device with nothing else on its path.
    prior = 0.01 / 0.99
    well = suspects(found(HERON), HERON)
    ill = suspects(found(HERON, absent=["ethernet"]), HERON)
    acquitted = of_site(well, "dead:ethernet")
    assert acquitted / (1 - acquitted) < prior / 10_000
    convicted = of_site(ill, "dead:ethernet")
    assert 1 - convicted > 100 * acquitted


def test_a_contradiction_stays_curable() -> None:
    # Gauge absent, yet runs on battery alone. Both readings stay open, and one
    # more contradicting answer still moves the ranking.
    contradiction = suspects(found(HERON, absent=["gauge"], answers={"on-battery": True}), HERON)
    assert 0 < of_site(contradiction, "dead:gauge") < 0.5
    assert 0.01 < contradiction.nothing_wrong < 1
    resolved = suspects(found(HERON, absent=["gauge"], answers={"on-battery": False}), HERON)
    assert of_site(resolved, "dead:gauge") > 0.4


def test_a_bench_sized_unit_is_localised() -> None:
    # How long it takes is printed by benchmarks/localise_cost.py.
    profile = bench_sized()
    layout = lay_out(profile)
    assert (len(profile.parts), len(layout.paths), len(layout.sites) >= 110) == (60, 40, True)
    answers = {check.id: True for check in profile.checks}
    lost = ["device-3", "device-11", "device-19", "device-27"]
    ranked = suspects(found(profile, absent=lost, answers=answers), profile)
    assert set(lost) <= {name for one in ranked.parts for name in one.explains}


def test_a_silent_gauge_and_no_run_on_battery_is_the_pack_before_the_cable() -> None:
    # Common practice, no source: a pack that neither talks nor gives power is mostly a dead pack.
    profile = Profile(
        id="p",
        name="p",
        source="invented",
        parts=(
            Part(id="board", kind=PartKind.SUBASSEMBLY, name="mainboard"),
            Part(id="pack", kind=PartKind.SUBASSEMBLY, name="battery pack"),
            Part(id="cable", kind=PartKind.LINK, name="battery cable", joins=("board", "pack")),
        ),
        devices=(ExpectedDevice(id="gauge", name="gauge", function="battery", within="pack", needs=("cable",)),),
        checks=(HandCheck(id="runs", question="Does it run on battery alone?", needs=("cable", "pack")),),
    )
    silent = Finding(
        device="gauge", verdict=Verdict.IMPAIRED, rung=Rung.ATTACHED, symptom=Symptom.MUTE, reasons=("silent",)
    )
    first, second = (
        suspects(Findings(profile="p", findings=(silent,), answers=(Answer(check="runs", yes=yes),)), profile).parts[0]
        for yes in (False, True)
    )
    assert (first.part, second.part) == ("pack", "pack")
    assert second.probability > first.probability


def test_a_check_of_several_boards_accuses_none_of_them_before_the_others() -> None:
    boards = tuple(Part(id=name, kind=PartKind.SUBASSEMBLY, name=name) for name in ("main", "io", "top"))
    profile = Profile(
        id="p",
        name="p",
        source="invented",
        parts=boards,
        devices=tuple(
            ExpectedDevice(id=f"d-{part.id}", name=part.id, function="sensor", within=part.id) for part in boards
        ),
        checks=(HandCheck(id="dry", question="Is all of it dry?", needs=("main", "io", "top")),),
    )
    wet = suspects(Findings(profile="p", findings=(), answers=(Answer(check="dry", yes=False),)), profile)
    chances = [one.probability for one in wet.parts if one.part]
    assert max(chances) - min(chances) < 0.02

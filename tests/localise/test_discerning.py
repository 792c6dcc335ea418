"""What a profile can tell apart: against the definition by outcomes, and on the shipped models by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, product
from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.by_definition import outcome
from support.small_units import units
from support.wired import HERON, device, found, part

from usbwatch.localise import suspects
from usbwatch.localise.discerning import Alike, Discerned, Left, _fewest, discern, discern_model, unexplained
from usbwatch.localise.failing import Failing, counted_on
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.sites import UNKNOWN_PART, kind_of
from usbwatch.localise.tried import MEASURE, measured
from usbwatch.model import Findings, HandCheck, PartKind, Profile, Rung, Symptom
from usbwatch.profile import find, known

Unit = tuple[Profile, Findings]

USUAL = ("open", "section", "rail", "whole", "dead", "poor")


def sites_of(layout: Layout, failing: Failing) -> list[int]:
    """The usual ways in which it fails."""
    kinds = ("poor",) if failing.works_badly else USUAL
    numbers = enumerate(layout.sites)
    return [number for number, site in numbers if kind_of(site)[1] == failing.of and kind_of(site)[0].value in kinds]


def most_likely(layout: Layout, ids: list[str], site: int) -> frozenset[str]:
    """What is not well in the likeliest of all joint outcomes, each of these well or not, with one fault."""
    well = {id_: outcome(layout, id_, (site,))[Symptom.WORKING] for id_ in ids}
    best = max(
        product((True, False), repeat=len(ids)),
        key=lambda joint: prod(well[i] if up else 1 - well[i] for i, up in zip(ids, joint, strict=True)),
    )
    return frozenset(id_ for id_, up in zip(ids, best, strict=True) if not up)


def everything(found: Discerned) -> list[Failing]:
    return [each for group in found.groups for each in group.failing]


@pytest.mark.properties
@given(unit=units())
def test_what_a_failure_shows_is_the_likeliest_joint_outcome(unit: Unit) -> None:
    layout = lay_out(unit[0])
    devices = [each.id for each in layout.profile.devices if counted_on(each)]
    checks = [each.id for each in layout.profile.checks]
    for failing in everything(discern(layout)):
        expected = {
            (most_likely(layout, devices, site), most_likely(layout, checks, site))
            for site in sites_of(layout, failing)
        }
        own = frozenset(each for each in failing.told_by if not each.startswith(MEASURE))
        assert (failing.shows, own) in expected


@pytest.mark.properties
@given(unit=units())
def test_each_way_of_failing_stands_in_the_one_group_that_loses_what_it_loses(unit: Unit) -> None:
    layout = lay_out(unit[0])
    found = discern(layout)
    devices = [each.id for each in layout.profile.devices if counted_on(each)]
    checks = [each.id for each in layout.profile.checks]
    lost = [frozenset(group.lost) for group in found.groups]
    assert len(set(lost)) == len(lost)
    for number, site in enumerate(layout.sites):
        kind, of = kind_of(site)
        shown = most_likely(layout, devices, number)
        if kind.value in USUAL and (shown or most_likely(layout, checks, number)):
            group = found.groups[lost.index(shown)]
            assert any(each.of == of and each.piece == site.part for each in group.failing)


def settles(layout: Layout, teller: str, failing: Failing) -> bool:
    """Whether this check most likely ends in "no", or this measurement in a finding, by the model's own tables."""
    site = sites_of(layout, failing)[0]
    if teller.startswith(MEASURE):
        hazards = {each.fault: each.shows for each in measured(layout, teller.removeprefix(MEASURE), yes=False).hazards}
        return hazards.get(site, 0.0) > 0.5
    return outcome(layout, teller, (site,))[Symptom.WORKING] < 0.5


def tellers(layout: Layout) -> list[str]:
    meters = [each.id for each in layout.profile.parts if each.kind in (PartKind.RAIL, PartKind.LINK)]
    return [*(each.id for each in layout.profile.checks), *(f"{MEASURE}{id_}" for id_ in meters)]


def way(failing: Failing) -> tuple[str, bool]:
    return failing.of, failing.works_badly


def pairs(group: Alike | Left) -> list[tuple[Failing, Failing]]:
    return [(one, other) for one, other in combinations(group.failing, 2) if one.piece != other.piece]


@pytest.mark.properties
@given(unit=units())
def test_what_can_be_told_by_hand_is_told_by_the_checks_named_and_by_no_fewer(unit: Unit) -> None:
    layout = lay_out(unit[0])
    for group in discern(layout).groups:
        known_pairs = pairs(group)

        def told(said: list[str], of: list[tuple[Failing, Failing]] = known_pairs) -> set[int]:
            return {
                number
                for number, (one, other) in enumerate(of)
                if any((each in one.told_by) != (each in other.told_by) for each in said)
            }

        every = told(tellers(layout))
        assert told(list(group.split_by)) == (every if group.lost else set())
        for teller in group.split_by:
            assert told([each for each in group.split_by if each != teller]) != every
        left = {frozenset((id(one), id(other))) for each in group.left for one, other in combinations(each.failing, 2)}
        for number, (one, other) in enumerate(known_pairs):
            assert (frozenset((id(one), id(other))) in left) == (number not in every)


_FAILURES = st.builds(
    Failing,
    of=st.just("x"),
    piece=st.sampled_from("abcdef"),
    told_by=st.frozensets(st.sampled_from("123456"), max_size=6),
)


@pytest.mark.properties
@given(failures=st.lists(_FAILURES, max_size=9))
def test_of_any_checks_those_named_settle_all_that_can_be_settled_and_none_is_idle(failures: list[Failing]) -> None:
    def settled(said: Sequence[str]) -> set[tuple[int, int]]:
        return {
            (a, b)
            for (a, one), (b, other) in combinations(enumerate(failures), 2)
            if one.piece != other.piece and any((each in one.told_by) != (each in other.told_by) for each in said)
        }

    chosen = _fewest(failures, "123456")
    assert settled(chosen) == settled("123456")
    assert all(settled([each for each in chosen if each != one]) != settled("123456") for one in chosen)


@pytest.mark.properties
@given(unit=units())
def test_what_tells_a_failure_by_hand_is_what_the_model_says(unit: Unit) -> None:
    layout = lay_out(unit[0])
    for failing in everything(discern(layout)):
        if len(sites_of(layout, failing)) == 1:
            assert failing.told_by == {each for each in tellers(layout) if settles(layout, each, failing)}


@pytest.mark.properties
@given(unit=units())
def test_the_checks_that_a_profile_lacks_would_tell_what_it_cannot(unit: Unit) -> None:
    """A check about a device can bring a way of failing along that only checks are about; it is not meant here."""
    profile = unit[0]
    for group in discern(lay_out(profile)).groups:
        for alike in group.left:
            more = tuple(HandCheck(id=f"more-{of}", question="Is it well?", needs=(of,)) for of in alike.lacking)
            better = discern(lay_out(replace(profile, checks=(*profile.checks, *more))))
            left = [{way(each) for each in one.failing} for other in better.groups for one in other.left]
            for one, other in pairs(alike):
                assert not any({way(one), way(other)} <= each for each in left)


@pytest.mark.properties
@given(unit=units(), scale=st.sampled_from((1.0, 0.1, 0.05, 0.03, 0.02, 0.01, 1e-3)))
def test_a_device_is_unexplained_when_what_is_not_known_explains_its_loss_better(unit: Unit, scale: float) -> None:
    fainter = replace(
        unit[0],
        parts=tuple(replace(each, weight=each.weight * scale) for each in unit[0].parts),
        devices=tuple(replace(each, weight=each.weight * scale, function="audio") for each in unit[0].devices),
    )
    layout = lay_out(fainter)
    found = set()
    for each in filter(counted_on, layout.profile.devices):
        named, unknown = 0.0, outcome(layout, each.id, ())[Symptom.ABSENT]
        for number, site in enumerate(layout.sites):
            if number in {step.site for step in layout.paths[each.id]}:
                weight = site.prior / (1 - site.prior) * outcome(layout, each.id, (number,))[Symptom.ABSENT]
                named, unknown = (named, unknown + weight) if site.part == UNKNOWN_PART else (named + weight, unknown)
        found |= {each.id} if named < unknown else set()
    assert set(unexplained(layout)) == found


@pytest.fixture(scope="module", params=known(), ids=lambda profile: profile.id)
def shipped(request: pytest.FixtureRequest) -> Profile:
    profile: Profile = request.param
    return profile


def test_every_part_of_a_shipped_profile_stands_somewhere(shipped: Profile) -> None:
    found = discern(lay_out(shipped))
    told = {each.of for each in (*everything(found), *found.perhaps, *found.unobserved)}
    parts = {each.id for each in shipped.parts if each.kind is not PartKind.SUBASSEMBLY}
    assert told >= parts | {each.id for each in shipped.devices}


def group(profile: Profile, *lost: str) -> Alike:
    (found,) = (each for each in discern(lay_out(profile)).groups if set(each.lost) == set(lost))
    return found


class TestLarch:
    """By hand from the profile's own comments on which check tells which look-alikes apart."""

    profile = find("fernhill-larch-13")

    def test_a_silent_top_case_is_flex_mainboard_or_top_case_until_somebody_looks(self) -> None:
        found = group(self.profile, "keyboard", "touchpad", "fingerprint-reader", "battery")
        assert set(found.pieces) == {"top-case", "mainboard", "top-case-flex"}
        assert set(found.split_by) == {"flex-seated", "runs-on-battery"}
        assert found.left == ()

    def test_without_the_gauge_it_is_a_supply_and_a_meter_tells_which(self) -> None:
        found = group(self.profile, "keyboard", "touchpad", "fingerprint-reader")
        assert {each.of for each in found.failing} == {"top-case-inputs", "top-case-3v3"}
        assert found.split_by == ("top-case-supply-measured",)

    def test_a_lost_hub_is_the_mainboard_with_no_further_step(self) -> None:
        found = group(self.profile, "internal-hub", "keyboard", "touchpad", "fingerprint-reader", "smart-card-reader")
        assert (found.pieces, found.split_by, found.left) == (("mainboard",), (), ())

    def test_a_slot_and_its_card_look_alike_to_everything(self) -> None:
        found = group(self.profile, "bluetooth")
        assert found.split_by == ()
        assert [[each.of for each in left.failing] for left in found.left] == [["radio-slot", "bluetooth"]]

    def test_the_lines_of_the_gauge_take_a_meter(self) -> None:
        assert f"{MEASURE}top-case-flex" in group(self.profile, "battery").split_by

    def test_no_capture_shows_the_charger_and_a_hand_check_does(self) -> None:
        unseen = discern(lay_out(self.profile)).unseen
        assert unseen is not None
        (charger,) = (each for each in unseen.failing if each.of == "mainboard-charger")
        assert charger.told_by == {"charges"}


def test_a_variant_without_touch_screen_cannot_tell_the_bus_from_the_touchpad() -> None:
    """The Heron's comment: "Touch screen works: not the I2C section" - where there is one."""
    (one,) = discern_model(find("brackwell-heron-14")).in_variants
    assert (one.variant, one.group.lost) == ("plain", ("touchpad",))
    assert {each.of for each in one.left.failing} == {"mainboard-i2c", "touchpad"}


def seen_with(profile: Profile, lost: tuple[str, ...], answers: dict[str, bool] | None = None) -> str:
    """The likeliest part by the full weighing of all fault sets, when just these devices are lost."""
    unseen = [each.id for each in profile.devices if not counted_on(each)]
    return suspects(found(profile, absent=lost, unseen=unseen, answers=answers), profile).parts[0].part


def test_the_localiser_suspects_a_piece_of_the_group_that_loses_what_was_lost(shipped: Profile) -> None:
    groups = [group for group in discern(lay_out(shipped)).groups if group.lost]
    assert len(groups) > 10
    likeliest = [(group, seen_with(shipped, group.lost)) for group in groups]
    assert [(group.lost, part) for group, part in likeliest if part not in group.pieces] == []


WEAKLY_TOLD = dict.fromkeys(
    ("fernhill-larch-13", "brackwell-heron-14", "ostrey-plover-12"), frozenset({"mainboard-gauge"})
)
"""A gauge can die in a pack that still gives power, so a unit that runs on its battery does not clear the pack."""


def test_with_the_hand_checks_named_the_localiser_suspects_the_right_piece(shipped: Profile) -> None:
    missed = set()
    for group in discern(lay_out(shipped)).by_hand:
        for failing in group.failing if group.split_by else ():
            alike = (each for left in group.left if failing in left.failing for each in left.failing)
            right = {failing.piece} | {each.piece for each in alike}
            answers = {check: check not in failing.told_by for check in group.split_by}
            if seen_with(shipped, group.lost, answers) not in right:
                missed.add(failing.of)
    assert missed == WEAKLY_TOLD.get(shipped.id, set())


def test_a_ps2_keyboard_is_not_counted_on() -> None:
    """The kernel assumes one without asking (drivers/input/keyboard/atkbd.c): its flex shows in no capture."""
    unseen = discern(lay_out(find("brackwell-heron-14"))).unseen
    assert unseen is not None
    assert {"keyboard", "keyboard-flex"} <= {each.of for each in unseen.failing}


def test_what_only_some_units_have_shows_nothing_for_certain() -> None:
    found = discern(lay_out(find("generic-clamshell")))
    assert {"camera", "io-cable", "wlan"} <= {each.of for each in found.perhaps}
    assert found.unproven == ("lid",)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, True),
        ({"optional": True}, False),
        ({"firmware_names": ("PNP0C0D",)}, False),
        ({"reaches": Rung.ABSENT}, False),
        ({"function": "lid"}, False),
        ({"function": "power-button", "locations": ("acpi/_SB_.PWRB",)}, False),
        ({"locations": ("platform/i8042/kbd",)}, False),
        ({"locations": ("platform/i8042/kbd", "pci0000:00/14.0/usb2/4")}, True),
        ({"locations": ("platform/i8042/aux",)}, True),
    ],
)
def test_a_device_is_counted_on_when_its_absence_would_show(changed: dict[str, object], *, expected: bool) -> None:
    assert counted_on(replace(device("d", "keyboard", "top-case"), **changed)) is expected  # type: ignore[arg-type]


def test_a_part_that_nothing_asks_about_is_unobserved_and_so_is_work_that_nobody_tries() -> None:
    """Keys have a hand check in this profile, the touchpad has none."""
    spare = part("spare-cable", PartKind.LINK)
    found = discern(lay_out(replace(HERON, parts=(*HERON.parts, spare))))
    assert [(each.of, each.works_badly) for each in found.unobserved] == [("spare-cable", False), ("touchpad", True)]


def test_weights_that_rule_everything_out_leave_a_loss_unexplained() -> None:
    section = part("faint-part", PartKind.SECTION, "mainboard", weight=1e-6)
    faint = replace(
        device("faint", "audio", "mainboard", "faint-part", weight=1e-6), locations=("pci0000:00/14.0/usb2/4",)
    )
    profile = replace(HERON, parts=(*HERON.parts, section), devices=(faint,), checks=())
    assert unexplained(lay_out(profile)) == ("faint",)
    assert unexplained(lay_out(replace(profile, devices=(replace(faint, weight=1.0),)))) == ()


def test_a_cheaper_check_is_named_where_two_tell_the_same() -> None:
    checks = tuple(
        HandCheck(id=id_, question="Is the plug whole?", needs=("battery-plug",), minutes=minutes)
        for id_, minutes in (("slow-look", 20), ("quick-look", 2))
    )
    assert "quick-look" in group(replace(HERON, checks=checks), "gauge").split_by
    assert "slow-look" not in group(replace(HERON, checks=checks), "gauge").split_by

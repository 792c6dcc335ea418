"""The trade's own cases, on the three invented models: what a good diagnostician would say, and would do next.

Common practice, no source: every case and every ranking in this file. What is
asked for is the order of the suspects and the kind of step, not figures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from support.looking import look
from support.sysfs import Conditions, build
from support.tree.parts import Laptop
from support.units import HERON, LARCH, PLOVER
from support.wired import found

from usbwatch.capture import load
from usbwatch.compare import findings
from usbwatch.localise import believe, suspects_of
from usbwatch.model import Advice, Answer, Findings, Look, Plan, Profile, Proposal, Step, StepKind, Suspects, Symptom
from usbwatch.plan import plan
from usbwatch.profile import find, shipped

LARCH_13, HERON_14, PLOVER_12 = (find(id_) for id_ in ("fernhill-larch-13", "brackwell-heron-14", "ostrey-plover-12"))
CHANGES_NOTHING = {"check", "look", "measure", "repeat"}


@dataclass(frozen=True, kw_only=True)
class Advised:
    """What is said of a unit after some looks."""

    profile: Profile
    suspects: Suspects
    plan: Plan

    def chance(self, part: str) -> float:
        """The probability of one part."""
        return next(each.probability for each in self.suspects.parts if each.part == part)

    def first(self, count: int = 1) -> set[str]:
        """The parts suspected most."""
        return {each.part for each in self.suspects.parts[:count]}

    def ways(self) -> dict[str, float]:
        """The probability of each site."""
        return {site.id: chance for each in self.suspects.parts for site, chance in each.sites}

    def next_step(self) -> Proposal:
        """The first proposal."""
        return self.plan.proposals[0]

    def first_deed(self) -> Proposal:
        """The first proposal that changes something about the unit."""
        return next(each for each in self.plan.proposals if each.action.value not in CHANGES_NOTHING)

    def dear(self) -> float:
        """The price of the cheapest of mainboard, top case and display assembly."""
        dear = ("mainboard", "top-case", "display-assembly")
        return float(min(part.cost for part in self.profile.parts if part.id in dear and part.cost is not None))


def advised(profile: Profile, *looks: Look | Findings) -> Advised:
    """What is said after these looks, oldest first."""
    taken = tuple(each if isinstance(each, Look) else Look(findings=each) for each in looks)
    beliefs = believe(profile, taken)
    return Advised(profile=profile, suspects=suspects_of(beliefs), plan=plan(beliefs, taken[-1].findings))


def shown(
    profile: Profile,
    *,
    absent: tuple[str, ...] = (),
    unseen: tuple[str, ...] = (),
    battery: Symptom = Symptom.WORKING,
) -> Findings:
    """A unit on which all works but what is named; lid and power button, which firmware declares anyway, are unseen."""
    by_hand = tuple(each.id for each in profile.devices if each.function in ("lid", "power-button"))
    return found(profile, absent=absent, unseen=(*by_hand, *unseen), battery=battery)


def captured(name: str, profile: Profile, **answers: bool) -> Findings:
    """What a shipped capture shows, with hand checks answered (``_`` for ``-``)."""
    return answered(findings(load(str(shipped("captures") / f"{name}.json")), profile), **answers)


def answered(before: Findings, **answers: bool) -> Findings:
    """The same with more hand checks answered."""
    more = tuple(Answer(check=check.replace("_", "-"), yes=yes) for check, yes in answers.items())
    return replace(before, answers=(*before.answers, *more))


def after(now: Findings, kind: StepKind, *parts: str) -> Look:
    """A look at the unit after parts were put in."""
    return Look(findings=now, steps=tuple(Step(kind=kind, of=part) for part in parts))


class TestTopCaseSilentWhileThePowerButtonWorks:
    """Keyboard, touchpad and gauge are lost; the button, on the same flex, switches the unit on."""

    lost = captured("larch-13-top-case-lost", LARCH_13)
    told = advised(LARCH_13, answered(lost, power_button_works=True))

    def test_one_cause_on_the_way_to_all_of_them_is_likelier_than_three(self) -> None:
        assert self.told.suspects.parts[0].explains == ("keyboard", "touchpad", "fingerprint-reader", "battery")
        assert self.told.chance("battery-pack") < 0.5 * self.told.chance("top-case-flex")

    def test_the_flex_comes_first_then_the_top_case_then_the_mainboard(self) -> None:
        assert [each.part for each in self.told.suspects.parts[:3]] == ["top-case-flex", "top-case", "mainboard"]

    def test_a_button_that_works_says_that_the_flex_carries_something(self) -> None:
        """So a flex that is quite out, or a dead board at either end of it, is less likely than before the answer."""
        before = advised(LARCH_13, self.lost)
        then, now = before.ways(), self.told.ways()
        assert now["section:top-case-board"] < 0.5 * then["section:top-case-board"]
        assert now["section:mainboard-input"] < 0.5 * then["section:mainboard-input"]
        assert now["broken:top-case-flex"] > then["broken:top-case-flex"]

    def test_the_flex_is_seen_to_before_anything_dear_is_bought(self) -> None:
        assert self.told.plan.advice is Advice.GO_ON
        assert self.told.next_step().cost < 30
        assert self.told.first_deed().of == "top-case-flex"


class TestOnlyTheGaugeStaysSilentAfterATopCase:
    """The same unit; a top case was fitted, and keyboard and touchpad are back."""

    before = captured("larch-13-top-case-lost", LARCH_13, power_button_works=True)
    now = captured("larch-13-after-top-case", LARCH_13, power_button_works=True)
    fitted = after(now, StepKind.FIT, "top-case")
    told = advised(LARCH_13, before, fitted)

    def test_the_new_top_case_is_hardly_suspected_but_never_beyond_suspicion(self) -> None:
        assert 0 < self.told.chance("top-case") < 0.05

    def test_pack_and_cable_come_before_the_mainboard(self) -> None:
        assert self.told.suspects.parts[0].part == "battery-pack"
        assert self.told.chance("mainboard") < 0.35

    def test_nothing_dear_is_asked_for_first(self) -> None:
        assert self.told.plan.advice is Advice.GO_ON
        assert self.told.next_step().cost < 30
        assert self.told.first_deed().of != "mainboard"

    def test_with_pack_and_cable_proven_the_mainboard_is_only_about_even(self) -> None:
        """The flex was not part of the swap, and its gauge lines can tear alone."""
        told = advised(
            LARCH_13, self.before, self.fitted, after(self.now, StepKind.SWAP, "battery-pack", "battery-cable")
        )
        assert told.first(2) == {"top-case-flex", "mainboard"}
        assert 0.3 < told.chance("mainboard") < 0.6
        assert told.first_deed().of == "top-case-flex"
        assert told.next_step().cost < told.dear() / 2

    def test_a_new_flex_that_changes_nothing_leaves_the_mainboard(self) -> None:
        told = advised(
            LARCH_13,
            self.before,
            self.fitted,
            after(self.now, StepKind.SWAP, "battery-pack", "battery-cable"),
            after(self.now, StepKind.FIT, "top-case-flex"),
        )
        assert told.first() == {"mainboard"}
        assert told.chance("top-case-flex") < 0.1


@pytest.mark.parametrize(
    ("laptop", "profile", "way"),
    [
        (LARCH, LARCH_13, "battery-cable"),
        (HERON, HERON_14, "battery-connector"),
        (PLOVER, PLOVER_12, "battery-connector"),
    ],
    ids=["through the top-case flex", "straight to the mainboard", "glued in"],
)
class TestGaugeWithZeroCyclesAndZeroCapacity:
    """A gauge that reads 0 everywhere does not talk: it is no new pack, and no empty one."""

    @staticmethod
    def _told(laptop: Laptop, profile: Profile, folder: Path) -> tuple[Findings, Advised]:
        root = build(laptop, folder / "unit", Conditions(kernel="6.12.0", battery="zero"))
        read = findings(look(root), profile)
        return read, advised(profile, read)

    def test_it_is_found_silent_and_not_working(
        self, laptop: Laptop, profile: Profile, way: str, tmp_path: Path
    ) -> None:
        read, told = self._told(laptop, profile, tmp_path)
        symptoms = {each.device: each.symptom for each in read.findings}
        assert symptoms["battery"] is Symptom.MUTE
        assert told.suspects.nothing_wrong < 0.05
        assert told.chance(way) > 0.1

    def test_pack_and_its_plug_come_before_the_mainboard(
        self, laptop: Laptop, profile: Profile, way: str, tmp_path: Path
    ) -> None:
        _, told = self._told(laptop, profile, tmp_path)
        assert told.first(2) == {"battery-pack", way}
        assert told.chance("mainboard") < told.chance("battery-pack") / 2

    def test_the_plug_is_looked_at_before_a_pack_is_bought(
        self, laptop: Laptop, profile: Profile, way: str, tmp_path: Path
    ) -> None:
        _, told = self._told(laptop, profile, tmp_path)
        assert told.plan.advice is Advice.GO_ON
        assert told.next_step().cost < 25
        proposed = [each.id for each in told.plan.proposals]
        pack = proposed.index("fit:battery-pack")
        assert pack > 0
        if profile is not PLOVER_12:  # to come at its plug is all the work of changing its pack
            assert min(place for place, id_ in enumerate(proposed) if way in id_) < pack


@pytest.mark.parametrize("profile", [LARCH_13, HERON_14, PLOVER_12], ids=lambda profile: profile.name)
class TestDiesWhenTheChargerIsPulled:
    """It runs on its adapter and reads its gauge; on battery alone it goes out."""

    def test_the_pack_comes_first_then_the_power_section(self, profile: Profile) -> None:
        told = advised(profile, answered(shown(profile), runs_on_battery=False))
        assert [each.part for each in told.suspects.parts[:2]] == ["battery-pack", "mainboard"]
        ways = told.ways()
        assert max((id_ for id_ in ways if id_ != "poor:battery-pack"), key=ways.__getitem__) == (
            "section:mainboard-power"
        )

    def test_a_gauge_that_talks_clears_the_lines_it_talks_through(self, profile: Profile) -> None:
        talks = advised(profile, answered(shown(profile), runs_on_battery=False))
        silent = advised(profile, answered(shown(profile, battery=Symptom.MUTE), runs_on_battery=False))
        for way in ("battery-cable", "battery-connector"):
            if any(part.id == way for part in profile.parts):
                assert talks.chance(way) < 0.5 * silent.chance(way)

    def test_running_without_the_pack_accuses_the_pack_and_clears_the_power_section(self, profile: Profile) -> None:
        dies = answered(shown(profile), runs_on_battery=False)
        pack, board = (advised(profile, answered(dies, runs_on_adapter=yes)) for yes in (True, False))
        assert pack.first() == {"battery-pack"}
        assert pack.chance("mainboard") < advised(profile, dies).chance("mainboard")
        assert board.first() == {"mainboard"}

    def test_something_cheap_is_asked_before_a_pack_is_bought(self, profile: Profile) -> None:
        told = advised(profile, answered(shown(profile), runs_on_battery=False))
        assert told.next_step().action.value in CHANGES_NOTHING
        assert told.next_step().cost < 10

    def test_a_swollen_pack_ends_it(self, profile: Profile) -> None:
        check = next(each for each in profile.checks if each.stop)
        told = advised(profile, answered(shown(profile), runs_on_battery=False, **{check.id: False}))
        assert told.plan.advice is Advice.DANGER
        assert told.plan.proposals == ()
        assert told.plan.stops == (check.stop,)


class TestExternalDevicesWorkWhileInternalOnesAreMissing:
    """A keyboard types in every socket; the unit's own input devices are not there."""

    on_the_top_case = ("keyboard", "touchpad", "fingerprint-reader")
    lost = answered(
        shown(LARCH_13, absent=on_the_top_case), keyboard_in_left_socket=True, keyboard_in_right_sockets=True
    )

    def test_with_the_hub_there_it_is_not_the_hub_and_not_the_controller(self) -> None:
        """The smart card reader, on the same hub, works."""
        told = advised(LARCH_13, self.lost)
        ways = told.ways()
        assert max(ways[id_] for id_ in ("dead:internal-hub", "dead:usb-controller", "section:mainboard-usb")) < 0.01
        assert told.first(3) == {"top-case", "mainboard", "top-case-flex"}

    def test_a_gauge_that_talks_points_to_what_it_does_not_share(self) -> None:
        told = advised(LARCH_13, self.lost)
        ways = told.ways()
        assert {"section:top-case-inputs", "rail:top-case-3v3"} == set(sorted(ways, key=ways.__getitem__)[-2:])
        assert told.next_step().action.value in CHANGES_NOTHING
        assert told.next_step().cost < 15

    def test_the_measured_supply_decides_between_the_boards(self) -> None:
        there, gone = (advised(LARCH_13, answered(self.lost, top_case_supply_measured=yes)) for yes in (True, False))
        assert there.first() == {"top-case"}
        assert gone.first() == {"mainboard"}

    def test_with_the_hub_gone_the_unit_is_drained_and_no_top_case_is_bought(self) -> None:
        hidden = dict.fromkeys((*self.on_the_top_case, "smart-card-reader"), "internal-hub")
        sockets = {"keyboard-in-left-socket": True, "keyboard-in-right-sockets": True}
        told = advised(LARCH_13, found(LARCH_13, absent=["internal-hub"], charged=hidden, answers=sockets))
        assert told.suspects.parts[0].sites[0][0].id == "dead:internal-hub"
        assert told.chance("top-case") < 0.2
        assert told.plan.advice is Advice.GO_ON
        assert told.first_deed().id == "drain:"
        assert told.next_step().cost < 10

    def test_a_detachable_that_lost_its_base_has_its_contacts_looked_at(self) -> None:
        base = shown(PLOVER_12, absent=("keyboard", "touchpad"))
        told = advised(PLOVER_12, answered(base, keyboard_in_right_socket=True))
        assert told.first() == {"base-contacts"}
        assert told.next_step().cost < 10
        assert told.first_deed().of == "base-contacts"


class TestTwoDevicesOnOneDaughterboard:
    """Fingerprint reader and power button share a board and its flex; camera and touch screen share a cable."""

    def test_a_button_that_works_leaves_the_reader_itself(self) -> None:
        told = advised(HERON_14, answered(shown(HERON_14, absent=("fingerprint-reader",)), power_button_works=True))
        assert told.suspects.parts[0].sites[0][0].id == "dead:fingerprint-reader"

    def test_a_button_that_is_dead_too_points_to_the_flex_first_and_then_the_board(self) -> None:
        told = advised(HERON_14, answered(shown(HERON_14, absent=("fingerprint-reader",)), power_button_works=False))
        assert [each.part for each in told.suspects.parts[:2]] == ["button-flex", "button-board"]
        assert told.first_deed().of == "button-flex"

    def test_camera_and_touch_screen_together_point_to_the_display_cable(self) -> None:
        told = advised(HERON_14, shown(HERON_14, absent=("camera", "touchscreen")))
        assert told.first() == {"display-cable"}
        assert told.first_deed().of == "display-cable"


@dataclass(frozen=True, kw_only=True)
class Twice:
    """A part that was bought and fitted twice, with the same symptom after each."""

    profile: Profile
    part: str
    symptom: Findings
    then: frozenset[str]
    """What is to be suspected instead; "" for software, "?" for nothing that the profile knows."""


TWICE = {
    "PS/2 keyboard": Twice(
        profile=HERON_14,
        part="keyboard-module",
        symptom=answered(shown(HERON_14, unseen=("keyboard",)), all_keys_type=False),
        then=frozenset({"keyboard-flex", "mainboard", ""}),
    ),
    "I2C touchpad": Twice(
        profile=HERON_14,
        part="touchpad-module",
        symptom=shown(HERON_14, absent=("touchpad",)),
        then=frozenset({"touchpad-flex", "mainboard"}),
    ),
    "gauge on the mainboard": Twice(
        profile=HERON_14,
        part="battery-pack",
        symptom=shown(HERON_14, battery=Symptom.MUTE),
        then=frozenset({"battery-connector", "mainboard"}),
    ),
    "gauge through the flex": Twice(
        profile=LARCH_13,
        part="battery-pack",
        symptom=shown(LARCH_13, battery=Symptom.MUTE),
        then=frozenset({"battery-cable", "top-case-flex", "mainboard"}),
    ),
    "keyboard alone": Twice(
        profile=LARCH_13,
        part="top-case",
        symptom=shown(LARCH_13, absent=("keyboard",)),
        then=frozenset({"top-case-flex", "?"}),
    ),
    "all of the top case": Twice(
        profile=LARCH_13,
        part="top-case",
        symptom=shown(LARCH_13, absent=("keyboard", "touchpad", "fingerprint-reader"), battery=Symptom.MUTE),
        then=frozenset({"top-case-flex", "mainboard"}),
    ),
    "base of a detachable": Twice(
        profile=PLOVER_12,
        part="keyboard-base",
        symptom=shown(PLOVER_12, absent=("keyboard", "touchpad")),
        then=frozenset({"base-contacts", "mainboard"}),
    ),
}


@pytest.mark.parametrize("case", TWICE.values(), ids=TWICE.keys())
class TestASecondNewPartWithTheSameSymptom:
    """The second one is no better than the first: what the two had in common is at fault."""

    @staticmethod
    def _told(case: Twice, times: int) -> Advised:
        return advised(case.profile, case.symptom, *[after(case.symptom, StepKind.FIT, case.part)] * times)

    def test_suspicion_moves_off_the_part_and_never_to_nothing(self, case: Twice) -> None:
        never, once, twice = (self._told(case, times).chance(case.part) for times in (0, 1, 2))
        assert never > once > 0
        assert 0 < twice < 0.1

    def test_it_moves_to_what_both_were_fitted_to(self, case: Twice) -> None:
        told = self._told(case, 2)
        unknown = told.suspects.nothing_wrong
        chances = {each.part: each.probability for each in told.suspects.parts} | {"?": unknown}
        assert max(chances, key=chances.__getitem__) in case.then
        assert all(chances[part] > told.chance(case.part) for part in case.then)

    def test_software_that_was_looked_for_and_not_found_does_not_take_the_lead(self, case: Twice) -> None:
        if "" not in case.then:  # of a keyboard that no capture shows, nothing was looked for
            assert self._told(case, 2).chance("") < 0.1

    def test_a_third_one_is_not_proposed_before_what_is_left(self, case: Twice) -> None:
        told = self._told(case, 2)
        deeds = [each.of for each in told.plan.proposals if each.action.value not in CHANGES_NOTHING]
        assert told.next_step().of != case.part
        if case.part in deeds:
            assert deeds[0] != case.part


class TestADarkScreen:
    """Everything enumerates, and there is no picture on the panel."""

    def test_with_none_outside_either_it_is_what_both_pictures_come_from(self) -> None:
        told = advised(LARCH_13, captured("larch-13-healthy", LARCH_13, picture_on_panel=False, picture_outside=False))
        assert told.first() == {"mainboard"}
        assert told.chance("mainboard") > 5 * told.chance("display-assembly")
        assert told.suspects.parts[0].explains == ("picture-on-panel", "picture-outside")

    def test_with_one_outside_it_is_the_display_or_its_cable(self) -> None:
        told = advised(LARCH_13, captured("larch-13-healthy", LARCH_13, picture_on_panel=False, picture_outside=True))
        assert told.first() == {"display-assembly"}
        assert told.chance("mainboard") < 0.5 * told.chance("display-assembly")

    def test_with_one_on_the_panel_alone_the_graphics_are_well(self) -> None:
        told = advised(LARCH_13, captured("larch-13-healthy", LARCH_13, picture_on_panel=True, picture_outside=False))
        assert told.ways()["poor:graphics"] < 0.1

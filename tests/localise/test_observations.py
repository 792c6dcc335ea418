"""What counts as evidence, and what does not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device, found

from usbwatch.localise.courses import courses
from usbwatch.localise.evidence import evidence
from usbwatch.localise.observations import observations
from usbwatch.localise.paths import lay_out
from usbwatch.localise.sites import SiteKind, site_id
from usbwatch.model import (
    Answer,
    ExpectedDevice,
    Finding,
    Findings,
    Look,
    Match,
    Profile,
    Rung,
    Step,
    StepKind,
    Symptom,
    Variant,
    Verdict,
)

ALL = ("keyboard", "touchpad", "gauge", "camera", "panel", "ethernet")


def ids(profile: Profile, findings: Findings) -> tuple[str, ...]:
    return tuple(each.id for each in observations(lay_out(profile, findings.variant), findings))


def test_what_was_seen_is_evidence_in_the_profile_order() -> None:
    findings = found(HERON, absent=["camera"], answers={"keys": True, "power-button": False})
    backwards = replace(findings, findings=findings.findings[::-1], answers=findings.answers[::-1])
    assert ids(HERON, findings) == ids(HERON, backwards) == (*ALL, "power-button", "keys")


def test_what_was_found_other_than_well_is_wrong() -> None:
    findings = found(HERON, absent=["camera"], gauge=Symptom.MUTE, answers={"keys": True, "power-button": False})
    evidence = observations(lay_out(HERON), findings)
    assert {each.id for each in evidence if each.wrong} == {"camera", "gauge", "power-button"}


def test_what_is_unseen_is_no_evidence() -> None:
    assert ids(HERON, found(HERON, unseen=["camera", "panel"])) == ("keyboard", "touchpad", "gauge", "ethernet")


@pytest.mark.parametrize("symptom", [Symptom.UNSEEN, Symptom.ABSENT], ids=lambda symptom: symptom.name)
def test_what_is_charged_to_another_is_no_evidence(symptom: Symptom) -> None:
    findings = found(LARCH, absent=["hub"], charged={"keyboard": "hub"}, keyboard=symptom)
    assert "keyboard" not in ids(LARCH, findings)


@pytest.mark.parametrize(
    ("symptom", "counts"),
    [(Symptom.ABSENT, False), (Symptom.UNSEEN, False), (Symptom.WORKING, True), (Symptom.FAILED, True)],
    ids=["absent", "unseen", "working", "failed"],
)
def test_an_optional_device_counts_once_it_is_seen(symptom: Symptom, counts: bool) -> None:
    devices = tuple(replace(each, optional=each.id == "camera") for each in HERON.devices)
    profile = replace(HERON, devices=devices)
    assert ("camera" in ids(profile, found(profile, camera=symptom))) is counts


def test_the_last_answer_to_a_check_counts() -> None:
    twice = (Answer(check="keys", yes=False), Answer(check="keys", yes=True))
    evidence = observations(lay_out(HERON), replace(found(HERON), answers=twice))
    assert [each.wrong for each in evidence if each.id == "keys"] == [False]


def test_findings_about_what_the_profile_does_not_have_are_passed_over() -> None:
    variant = Variant(id="plain", name="plain", match=Match(), without=("camera", "keys"))
    profile = replace(HERON, variants=(variant,))
    findings = replace(
        found(profile, answers={"keys": False, "unheard-of": False}),
        variant="plain",
    )
    assert ids(profile, findings) == tuple(each for each in ALL if each != "camera")


def test_against_a_profile_of_another_model_nothing_is_evidence() -> None:
    assert ids(HERON, replace(found(HERON, absent=["camera"]), other_model=True)) == ()


# Software as a cause of absence.


ON_USB = "pci0000:00/14.0/usb2/4"


def chance_of_software(function: str, software: str, *locations: str) -> float:
    """How probable it is that a software fault at a device makes it absent with this word about software."""
    profile = replace(HERON, devices=(replace(device("d", function, "mainboard"), locations=locations),), checks=())
    finding = Finding(
        device="d", verdict=Verdict.MISSING, rung=Rung.ABSENT, symptom=Symptom.ABSENT, reasons=(), software=software
    )
    layout = lay_out(profile)
    (shown,) = observations(layout, Findings(profile="p", findings=(finding,)))
    names = [layout.sites[hazard.fault].id for hazard in shown.hazards]
    return shown.hazards[names.index(site_id(SiteKind.SOFTWARE, "d"))].shows


def test_an_empty_usb_port_cannot_be_for_want_of_a_driver() -> None:
    # USB 2.0 section 9.1: a device is attached and addressed by the hub and the host before any driver is chosen.
    told = chance_of_software("keyboard", "firmware says that it is not fitted", ON_USB)
    assert chance_of_software("keyboard", "", ON_USB) < told / 100
    # What firmware set-up can switch off may be gone without a word.
    assert chance_of_software("camera", "", ON_USB) > told / 10


def test_on_any_bus_software_that_was_looked_for_and_not_found_is_hardly_the_cause() -> None:
    told = chance_of_software("touchpad", "the i2c driver is blacklisted", "acpi/_SB_.PCI0.I2C1.TPD0")
    for places in (["acpi/_SB_.PCI0.I2C1.TPD0"], ["pci0000:00/19.0"], [ON_USB, "platform/i8042/aux"]):
        assert chance_of_software("touchpad", "", *places) == pytest.approx(told / 10)
    # What a port sees in any case is surer: elsewhere firmware set-up can take a device away whole.
    assert chance_of_software("keyboard", "", ON_USB) < chance_of_software("keyboard", "", "platform/i8042/kbd")
    # Nobody says where a device was looked for that may sit anywhere.
    assert chance_of_software("touchpad", "") == told


# Several looks.


def told(*looks: Look, profile: Profile = HERON) -> list[tuple[str, bool]]:
    """The ids that count over all the looks, in order, and whether each was found wrong."""
    layout = lay_out(profile)
    taken = courses(layout.sites, looks, layout.profile)
    return [(each.id, each.wrong) for each in evidence(layout, taken, looks)]


LOST = Look(findings=found(HERON, absent=["keyboard", "touchpad"]))
FIRST = told(LOST)


def after(kind: StepKind, of: str, **lost: list[str]) -> Look:
    return Look(findings=found(HERON, **lost), steps=(Step(kind=kind, of=of),))  # type: ignore[arg-type]


def test_the_same_look_twice_is_the_same_fact() -> None:
    assert told(LOST, LOST) == told(LOST, LOST, LOST) == FIRST


def test_a_step_off_the_path_makes_nothing_count_again() -> None:
    reloaded = after(StepKind.RELOAD, "camera", absent=["keyboard", "touchpad"])
    assert told(LOST, reloaded) == [*FIRST, ("camera", False)]


def test_opening_the_unit_makes_all_count_again_that_can_hang() -> None:
    # It is without power meanwhile, so that what was hung is not.
    opened = after(StepKind.RESEAT, "display-cable", absent=["keyboard", "touchpad"])
    hanging = [("keyboard", True), ("touchpad", True), ("gauge", False), ("camera", False)]
    assert told(LOST, opened) == [*FIRST, *hanging, ("panel", False)]
    assert told(LOST, after(StepKind.DRAIN, "", absent=["keyboard", "touchpad"])) == [*FIRST, *hanging]


def test_a_step_counts_for_what_was_unseen_in_between() -> None:
    hidden = Look(findings=found(HERON, unseen=["camera", "panel"], absent=["keyboard", "touchpad"]))
    opened = replace(hidden, steps=(Step(kind=StepKind.RELOAD, of="camera"),))
    assert told(LOST, opened) == FIRST
    assert told(LOST, opened, LOST) == [*FIRST, ("camera", False)]


def test_a_look_with_the_link_moved_counts_though_it_shows_the_same() -> None:
    moved = after(StepKind.FLEX, "top-case-flex", absent=["keyboard", "touchpad"])
    assert told(LOST, moved) == [*FIRST, ("keyboard", True), ("touchpad", True), ("gauge", False)]


def test_what_came_back_by_itself_makes_its_link_fellows_count_again() -> None:
    # One chance per capture for all that a loose link carries: that the touchpad stayed away speaks against the flex.
    back = Look(findings=found(HERON, absent=["touchpad"]))
    assert told(LOST, back) == [*FIRST, ("keyboard", False), ("touchpad", True), ("gauge", False)]


def test_devices_on_no_link_do_not_count_again_when_another_comes_back() -> None:
    plain: tuple[ExpectedDevice, ...] = (device("left", "sensor", "mainboard"), device("right", "sensor", "mainboard"))
    profile = replace(HERON, devices=plain, checks=())
    lost, back = (Look(findings=found(profile, absent=away)) for away in (["left", "right"], ["right"]))
    assert told(lost, back, profile=profile) == [("left", True), ("right", True), ("left", False)]

"""What counts as evidence, and what does not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, found

from usbwatch.localise.observations import observations
from usbwatch.localise.paths import lay_out
from usbwatch.model import Answer, Findings, Match, Profile, Symptom, Variant

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

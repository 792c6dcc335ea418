"""What is worth looking at next, and what it would point to."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from scipy.stats import entropy
from support.by_definition import outcome
from support.small_units import units
from support.wired import HERON, LARCH, device, found, part

from usbwatch.localise.observations import observations
from usbwatch.localise.paths import Layout, lay_out
from usbwatch.localise.posterior import posterior
from usbwatch.localise.suspicion import accounts_for
from usbwatch.model import Findings, HandCheck, PartKind, Profile, Symptom
from usbwatch.plan import tell_apart
from usbwatch.plan.discriminators import DEPTH, LEAST_BITS

LOST = ("keyboard", "touchpad")


def information_by_definition(layout: Layout, findings: Findings, id_: str, function: str) -> float:
    """Entropy of "which parts are behind it" less its expected entropy after the answer, in bits."""
    evidence = observations(layout, findings)
    beliefs = posterior([site.prior for site in layout.sites], evidence, DEPTH)
    behind = {n for n in range(len(layout.sites)) if any(accounts_for((n,), each) for each in evidence)}
    joint: dict[frozenset[str], list[float]] = {}
    for faults, probability in beliefs.items():
        works = outcome(layout, id_, function, faults)[Symptom.WORKING]
        cell = joint.setdefault(frozenset(layout.sites[n].part for n in faults if n in behind), [0.0, 0.0])
        cell[0] += probability * works
        cell[1] += probability * (1 - works)
    after = 0.0
    for answer in (0, 1):
        column = [cell[answer] for cell in joint.values()]
        after += sum(column) * float(entropy(column, base=2))
    return float(entropy([sum(cell) for cell in joint.values()], base=2)) - after


@pytest.mark.properties
@settings(deadline=None)
@given(unit=units())
def test_information_is_the_expected_loss_of_entropy(unit: tuple[Profile, Findings]) -> None:
    # The entropies are those of scipy.stats.
    profile, findings = unit
    layout = lay_out(profile)
    functions = {each.id: each.function for each in profile.devices}
    for each in tell_apart(findings, profile):
        expected = information_by_definition(layout, findings, each.id, functions.get(each.id, ""))
        assert each.information_bits == pytest.approx(expected, abs=1e-9)


@pytest.mark.properties
@settings(deadline=None)
@given(unit=units())
def test_only_what_is_open_and_tells_something_is_named_best_first(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    named = tell_apart(findings, profile)
    answered = {each.check for each in findings.answers}
    unseen = {each.device for each in findings.findings if each.symptom is Symptom.UNSEEN and not each.charged_to}
    assert {each.id for each in named} <= unseen | {each.id for each in profile.checks} - answered
    bits = [each.information_bits for each in named]
    assert bits == sorted(bits)[::-1]
    assert all(LEAST_BITS <= each <= 1 for each in bits)


def test_a_half_and_half_question_with_sure_answers_is_worth_one_bit() -> None:
    # Two look-alike links, one of them open, and a check that only one of them can spoil: by definition of the
    # bit, a fair yes or no. The tables are not quite sure, so a little less.
    profile = Profile(
        id="p",
        name="p",
        source="invented",
        parts=(part("board"), part("case"), part("near", PartKind.LINK), part("far", PartKind.LINK)),
        devices=(
            device("a", "sensor", "case", "near", "far", weight=1e-3),
            device("b", "sensor", "board", "near", "far", weight=1e-3),
        ),
        checks=(HandCheck(id="light", question="Is the near light on?", needs=("near",)),),
    )
    (light,) = tell_apart(found(profile, absent=["a", "b"]), profile)
    assert 0.6 < light.information_bits < 1
    assert light.if_yes.startswith("points to far (9")
    assert light.if_no.startswith("points to near (9")


def test_keyboard_and_touchpad_lost_asks_for_what_shares_their_flex() -> None:
    # Common practice, no source: what else runs over the flex tells the flex from what lies on either side.
    named = tell_apart(found(HERON, absent=LOST, unseen=["gauge"]), HERON)
    assert named[0].id in {"power-button", "gauge"}
    by_id = {each.id: each for each in named}
    assert by_id["gauge"].if_no.startswith("points to top case flex (")
    assert not by_id["gauge"].if_yes.startswith("points to top case flex (")
    assert by_id["power-button"].if_yes.startswith("points to mainboard (")


def test_a_check_brings_its_question_caution_and_minutes() -> None:
    named = {each.id: each for each in tell_apart(found(HERON, absent=LOST), HERON)}
    check = named["on-battery"]
    assert (check.question, check.caution, check.minutes) == (
        "Does it run on battery alone?",
        "Stop at a swollen pack.",
        3,
    )


def test_an_unseen_device_is_asked_for_with_what_would_make_it_seen() -> None:
    findings = found(HERON, absent=LOST, unseen=["gauge"])
    hinted = replace(
        findings,
        findings=tuple(
            replace(each, would_tell="Capture again as root.") if each.device == "gauge" else each
            for each in findings.findings
        ),
    )
    plain, with_hint = (
        next(each for each in tell_apart(each_findings, HERON) if each.id == "gauge")
        for each_findings in (findings, hinted)
    )
    assert plain.question == "gauge: does it work?"
    assert with_hint.question == "gauge: does it work? Capture again as root."
    assert with_hint.minutes == 1


def test_what_a_lost_hub_hides_is_not_asked_for() -> None:
    behind = ("keyboard", "touchpad", "fingerprint", "camera")
    hidden = found(LARCH, absent=["hub"], charged=dict.fromkeys(behind, "hub"))
    assert not {each.id for each in tell_apart(hidden, LARCH)} & set(behind)
    unhidden = found(LARCH, absent=["hub"], unseen=behind)
    assert {each.id for each in tell_apart(unhidden, LARCH)} & set(behind)


def test_an_unseen_optional_device_is_not_asked_for() -> None:
    devices = tuple(replace(each, optional=each.id == "gauge") for each in HERON.devices)
    optional = replace(HERON, devices=devices)
    assert "gauge" not in {each.id for each in tell_apart(found(optional, absent=LOST, unseen=["gauge"]), optional)}


@pytest.mark.parametrize(
    "findings",
    [found(HERON), found(HERON, unseen=["gauge", "panel"]), found(HERON, answers={"keys": True})],
    ids=["all well", "some unseen", "a check answered well"],
)
def test_with_nothing_found_wrong_there_is_nothing_to_tell_apart(findings: Findings) -> None:
    assert tell_apart(findings, HERON) == ()


def test_what_lies_off_every_suspect_path_is_not_named() -> None:
    # A measurement off the path carries no information.
    named = {each.id for each in tell_apart(found(HERON, absent=LOST, unseen=["panel", "ethernet"]), HERON)}
    assert "power-button" in named
    assert not named & {"steady-picture", "panel", "ethernet"}


def test_an_answer_that_clears_everything_points_to_no_part() -> None:
    # The ethernet is absent, which a false reading could be, and a check says that it works after all.
    profile = replace(HERON, checks=(HandCheck(id="link-light", question="Does it link?", needs=("ethernet",)),))
    (check,) = tell_apart(found(profile, absent=["ethernet"]), profile)
    assert check.if_yes.startswith("clears every part that the profile knows (")
    assert check.if_no.startswith("points to mainboard (")


def test_software_is_named_as_such() -> None:
    named = tell_apart(found(HERON, camera=Symptom.UNDRIVEN, unseen=["panel"]), HERON)
    assert all("software" in f"{each.if_yes} {each.if_no}" for each in named)
    check = HandCheck(id="video", question="Does a call show a picture?", needs=("camera",))
    profile = replace(HERON, checks=(check,))
    (video,) = tell_apart(found(profile, camera=Symptom.UNDRIVEN), profile)
    assert video.if_no.startswith("points to software (9")

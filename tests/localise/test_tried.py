"""What a helper device in a socket and a part in another unit tell, and what they leave open."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found

from usbwatch.localise import believe, suspects_of
from usbwatch.localise.observations import observations
from usbwatch.localise.paths import lay_out
from usbwatch.localise.tried import ELSEWHERE_MISLEADS, HELPER_WORKS_ANYWAY, works_elsewhere
from usbwatch.model import Answer, Findings, Kind, Look, Node, Profile, Rung, Suspects, Symptom
from usbwatch.plan import plan

ON_USB = {"keyboard": "pci0000:00/14.0/usb2/1", "camera": "pci0000:00/14.0/usb2/2"}
UNIT = replace(
    HERON,
    devices=tuple(replace(each, locations=(ON_USB[each.id],)) if each.id in ON_USB else each for each in HERON.devices),
)
LOST = found(UNIT, absent=["keyboard"])


def helper(function: str, rung: Rung = Rung.WORKING) -> Node:
    return Node(
        bus="usb", location="pci0000:00/14.0/usb2/9", kind=Kind.DEVICE, rung=rung, functions=(function,), driver="usb"
    )


def told(findings: Findings, unit: Profile = UNIT) -> Suspects:
    return suspects_of(believe(unit, (Look(findings=findings),)))


def ways(findings: Findings, unit: Profile = UNIT) -> dict[str, float]:
    return {site.id: chance for each in told(findings, unit).parts for site, chance in each.sites}


def test_a_helper_that_works_speaks_against_a_missing_driver_and_against_nothing_else() -> None:
    before, then = ways(LOST), ways(replace(LOST, external=(helper("keyboard"),)))
    odds = then["software:keyboard"] / (1 - then["software:keyboard"])
    was = before["software:keyboard"] / (1 - before["software:keyboard"])
    assert odds / was == pytest.approx(HELPER_WORKS_ANYWAY, rel=0.02)
    assert then["dead:keyboard"] == pytest.approx(before["dead:keyboard"], rel=0.02)
    assert then["software:camera"] == pytest.approx(before["software:camera"], rel=1e-6)


@pytest.mark.parametrize(
    "node",
    [helper("keyboard", Rung.CONFIGURED), helper("ethernet"), helper("touchpad")],
    ids=["one that no driver holds", "of another function", "of a device that is not on USB"],
)
def test_other_helpers_tell_nothing(node: Node) -> None:
    assert told(replace(LOST, external=(node,))) == told(LOST)


def test_a_part_that_works_elsewhere_leaves_its_way_to_the_mainboard() -> None:
    before, then = ways(LOST), ways(replace(LOST, answers=(Answer(check="elsewhere:top-case", yes=True),)))
    ratio, was = (each["dead:keyboard"] / each["open:top-case-flex"] for each in (then, before))
    assert ratio / was == pytest.approx(ELSEWHERE_MISLEADS, rel=0.1)
    assert then["open:top-case-flex"] > before["open:top-case-flex"]


def test_a_part_that_fails_elsewhere_too_is_hardly_good() -> None:
    refused = replace(LOST, answers=(Answer(check="elsewhere:top-case", yes=False),))
    top_case = next(each for each in told(refused).parts if each.part == "top-case")
    assert 0.9 < top_case.probability < 1


def test_the_figure_is_that_of_one_observation() -> None:
    layout = lay_out(UNIT)
    seen = works_elsewhere(layout, "top-case", yes=True)
    assert {layout.sites[each.fault].part for each in seen.hazards} == {"top-case"}
    assert {each.passes for each in seen.hazards} == {ELSEWHERE_MISLEADS}
    answered = replace(LOST, answers=(Answer(check="elsewhere:top-case", yes=True),))
    assert seen in observations(layout, answered)


def test_a_helper_is_asked_for_only_where_it_can_tell_something() -> None:
    """Software is hardly ever why a keyboard is missing on USB; of one that no driver holds it mostly is."""
    proposed = {each.id for each in plan(believe(UNIT, (Look(findings=LOST),)), LOST).proposals}
    assert not [each for each in proposed if each.startswith("helper:")]
    undriven = found(UNIT, keyboard=Symptom.UNDRIVEN)
    proposed = {each.id for each in plan(believe(UNIT, (Look(findings=undriven),)), undriven).proposals}
    assert "helper:keyboard" in proposed
    told_already = replace(undriven, external=(helper("keyboard"),))
    proposed = {each.id for each in plan(believe(UNIT, (Look(findings=told_already),)), told_already).proposals}
    assert "helper:keyboard" not in proposed

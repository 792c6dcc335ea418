"""How a site can have fared: the figures of one look and of the steps before it, by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found, part

from usbwatch.localise.courses import Course, changed, courses, touched
from usbwatch.localise.fates import fates
from usbwatch.localise.paths import lay_out
from usbwatch.localise.tried import measured
from usbwatch.model import Look, PartKind, Step, StepKind

LAYOUT = lay_out(HERON, "")
NUMBER = {site.id: number for number, site in enumerate(LAYOUT.sites)}
FLEX = Step(kind=StepKind.FLEX, of="top-case-flex")
SEAT = Step(kind=StepKind.RESEAT, of="top-case-flex")


def look(*steps: Step) -> Look:
    return Look(findings=found(HERON), steps=steps)


def of_site(id_: str, *looks: Look) -> dict[tuple[tuple[bool, ...], bool], float]:
    """The courses of one site with their odds."""
    every: tuple[Course, ...] = courses(LAYOUT.sites, looks, HERON)
    return {(each.acts, each.lasts): each.fault.odds for each in every if each.site == NUMBER[id_]}


@pytest.mark.parametrize(("steps", "acts"), [((), 0.6), ((FLEX,), 0.9)], ids=["a capture", "moved while capturing"])
def test_a_link_that_makes_contact_at_times_is_away_as_often_as_the_page_says(
    steps: tuple[Step, ...], acts: float
) -> None:
    odds = of_site("loose:top-case-flex", look(*steps))
    prior = LAYOUT.sites[NUMBER["loose:top-case-flex"]].prior
    assert odds == pytest.approx(
        {((True,), True): acts * prior / (1 - prior), ((False,), True): (1 - acts) * prior / (1 - prior)}
    )


@pytest.mark.parametrize("count", [1, 2, 3])
def test_every_step_before_a_look_counts(count: int) -> None:
    # Seating it again leaves a link open one time in ten, and opens a whole one four times in a thousand.
    there = LAYOUT.sites[NUMBER["open:top-case-flex"]].prior
    for _ in range(count):
        there = 0.1 * there + 0.004 * (1 - there)
    assert of_site("open:top-case-flex", look(*[SEAT] * count))[(True,), True] == pytest.approx(there / (1 - there))


def test_moving_a_link_tries_it_harder_and_changes_nothing() -> None:
    looks = (look(), look(FLEX), look(SEAT))
    assert touched(LAYOUT.sites, looks, HERON)[:2] == (frozenset(), frozenset({NUMBER["loose:top-case-flex"]}))
    assert changed(LAYOUT.sites, looks, HERON)[:2] == (frozenset(), frozenset())
    assert NUMBER["open:top-case-flex"] in changed(LAYOUT.sites, looks, HERON)[2]


@pytest.mark.parametrize("kind", [StepKind.SWAP, StepKind.FIT])
def test_the_fault_outlives_the_replacement_in_two_of_a_thousand_cases(kind: StepKind) -> None:
    told = fates(LAYOUT.sites, Step(kind=kind, of="display"), HERON)
    own = [fate for site, fate in zip(LAYOUT.sites, told, strict=True) if fate.born and site.part == "display"]
    assert own
    assert [(each.survives - each.born) / (1 - each.born) for each in own] == pytest.approx([0.002] * len(own))


def test_a_meter_on_a_link_reads_its_lines_as_well() -> None:
    lines = part("gauge-lines", PartKind.SECTION, "top-case-flex")
    layout = lay_out(replace(HERON, parts=(*HERON.parts, lines)), "")
    read = {layout.sites[hazard.fault].id for hazard in measured(layout, "top-case-flex", yes=False).hazards}
    assert read == {"broken:top-case-flex", "section:gauge-lines"}

"""What a bench step does to a fault. The figures are elicited; what is tested are the rules behind them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, found

from usbwatch.localise.courses import courses
from usbwatch.localise.fates import BAD_PART, UNTOUCHED, Fate, fates
from usbwatch.localise.paths import lay_out
from usbwatch.model import Look, Step, StepKind

UNIT = replace(
    HERON,
    parts=tuple(
        replace(part, joins=("mainboard", "top-case") if part.id == "top-case-flex" else ()) for part in HERON.parts
    ),
)
LAYOUT = lay_out(UNIT)


def fate(site: str, kind: StepKind, of: str) -> Fate:
    number = [each.id for each in LAYOUT.sites].index(site)
    return fates(LAYOUT.sites, Step(kind=kind, of=of), LAYOUT.profile)[number]


@pytest.mark.parametrize(
    ("kind", "of", "mends"),
    [
        (StepKind.RESEAT, "top-case-flex", {"open:top-case-flex"}),
        (StepKind.RELOAD, "camera", {"software:camera", "hung:camera"}),
        (StepKind.FIT, "top-case-flex", {"open:top-case-flex", "broken:top-case-flex", "loose:top-case-flex"}),
        (StepKind.DRAIN, "", {f"hung:{each}" for each in ("keyboard", "touchpad", "gauge", "camera")}),
        (StepKind.FLEX, "top-case-flex", set()),
    ],
    ids=lambda value: value.value if isinstance(value, StepKind) else None,
)
def test_a_step_mends_what_it_is_for_more_often_than_not(kind: StepKind, of: str, mends: set[str]) -> None:
    told = fates(LAYOUT.sites, Step(kind=kind, of=of), LAYOUT.profile)
    mended = {site.id for site, each in zip(LAYOUT.sites, told, strict=True) if each.survives < 0.5}
    opened = (
        {site.id for site in LAYOUT.sites if site.id.startswith("hung:")}
        if kind
        in (
            StepKind.RESEAT,
            StepKind.FIT,
        )
        else set()
    )
    assert mended == mends | opened


def test_a_swap_mends_all_of_a_subassembly_and_seats_its_links_again() -> None:
    for site in ("dead:keyboard", "poor:keyboard", "whole:top-case", "open:top-case-flex"):
        assert fate(site, StepKind.SWAP, "top-case").survives < 0.2
    # A torn cable is not mended by being plugged in again, nor what is on another board.
    assert fate("broken:top-case-flex", StepKind.SWAP, "top-case").survives == 1
    assert fate("dead:camera", StepKind.SWAP, "top-case") == UNTOUCHED


@pytest.mark.parametrize("kind", [StepKind.SWAP, StepKind.FIT], ids=lambda kind: kind.value)
def test_a_part_that_is_put_in_is_bad_as_often_as_such_parts_are(kind: StepKind) -> None:
    own = [site.id for site in LAYOUT.sites if site.part == "top-case"]
    assert sum(fate(site, kind, "top-case").born for site in own) == pytest.approx(BAD_PART[kind])


def test_a_part_that_is_put_in_is_bad_whatever_the_old_one_was() -> None:
    told = fate("dead:keyboard", StepKind.FIT, "top-case")
    assert told.survives >= told.born


def test_no_step_that_reaches_a_fault_mends_it_for_certain() -> None:
    for kind in StepKind:
        for of in ("top-case", "top-case-flex", "camera", ""):
            for each in fates(LAYOUT.sites, Step(kind=kind, of=of), LAYOUT.profile):
                assert each.survives > 0
                assert 0 <= each.born < 0.5


@pytest.mark.parametrize("of", ["top-case", "top-case-flex", "keyboard", "unheard-of", ""])
def test_the_chances_of_all_courses_of_a_site_add_to_one(of: str) -> None:
    looks = [Look(findings=found(UNIT)), Look(findings=found(UNIT), steps=(Step(kind=StepKind.FIT, of=of),))]
    taken = courses(LAYOUT.sites, looks, LAYOUT.profile)
    for number, site in enumerate(LAYOUT.sites):
        whole = 1 + sum(course.fault.odds for course in taken if course.site == number)
        first = sum(course.fault.odds for course in taken if course.site == number and course.acts[0]) / whole
        # Nothing has been done before the first look: in it every fault is as probable as its prior.
        away = 0.6 if site.id.startswith("loose:") else 1.0
        assert first == pytest.approx(site.prior * away, rel=1e-9)


def test_without_a_step_a_site_has_one_course_but_for_what_comes_and_goes() -> None:
    looks = [Look(findings=found(UNIT))] * 3
    taken = courses(LAYOUT.sites, looks, LAYOUT.profile)
    counts = {site.id: sum(course.site == number for course in taken) for number, site in enumerate(LAYOUT.sites)}
    assert {count for id_, count in counts.items() if not id_.startswith("loose:")} == {1}
    assert {count for id_, count in counts.items() if id_.startswith("loose:")} == {2**3}

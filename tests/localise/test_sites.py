"""Which ways to fail a profile has, and where their priors come from."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device, part

from usbwatch.localise.sites import DEAD_PRIORS, PRIORS, SOFTWARE_PRIORS, SiteKind, fitted, sites
from usbwatch.model import HandCheck, Match, PartKind, Profile, Site, Variant


def by_id(profile: Profile) -> dict[str, Site]:
    return {site.id: site for site in sites(profile)}


@pytest.mark.parametrize(
    ("site", "part_", "name"),
    [
        ("link:top-case-flex", "top-case-flex", "top case flex open or unseated"),
        ("section:usb-section", "mainboard", "usb section failed"),
        ("rail:top-case-rail", "mainboard", "top case rail off or sagging"),
        ("whole:top-case", "top-case", "top case as a whole, such as by liquid"),
        ("software:camera", "", "camera: no driver, disabled or blocked"),
        ("dead:keyboard", "top-case", "keyboard itself"),
        ("poor:keyboard", "top-case", "keyboard answers but does its work badly"),
        ("poor:top-case", "top-case", "top case: something else in it"),
    ],
    ids=lambda value: value,
)
def test_a_site_names_what_fails_and_what_mends_it(site: str, part_: str, name: str) -> None:
    found = by_id(HERON)[site]
    assert (found.part, found.name) == (part_, name)


def test_every_site_has_its_own_id() -> None:
    assert len(by_id(HERON)) == len(sites(HERON))


@pytest.mark.parametrize(
    ("profile", "expected"),
    [
        # The mainboard has sections, the battery pack one device: both are covered by these.
        pytest.param(LARCH, {"whole:top-case", "whole:display"}, id="two devices and no section"),
        pytest.param(
            replace(LARCH, devices=(device("fan", "sensor", "top-case", "mainboard"),)),
            {"whole:mainboard"},
            id="needed by name",
        ),
        pytest.param(replace(LARCH, devices=()), set(), id="no devices"),
    ],
)
def test_a_subassembly_fails_as_a_whole_only_where_that_says_something_new(
    profile: Profile, expected: set[str]
) -> None:
    assert {id_ for id_ in by_id(profile) if id_.startswith("whole:")} == expected


def test_poor_sites_are_for_what_hand_checks_are_about() -> None:
    checks = (
        HandCheck(id="a", question="?", needs=("usb-section", "keyboard")),
        HandCheck(id="b", question="?", needs=("top-case-flex",)),
        HandCheck(id="c", question="?", needs=("display-cable", "power-section")),
        HandCheck(id="d", question="?"),
    )
    found = by_id(replace(LARCH, checks=checks))
    assert {id_: site.part for id_, site in found.items() if id_.startswith("poor:")} == {
        "poor:keyboard": "top-case",
        "poor:power-section": "mainboard",
    }


def test_a_variant_loses_the_sites_of_what_it_lacks() -> None:
    variant = Variant(id="plain", name="plain", match=Match(), without=("fingerprint",))
    profile = replace(LARCH, variants=(variant,))
    assert "dead:fingerprint" in by_id(fitted(profile, ""))
    assert set(by_id(profile)) - set(by_id(fitted(profile, "plain"))) == {"dead:fingerprint", "software:fingerprint"}


def test_weights_of_a_part_and_of_its_subassembly_multiply_its_prior() -> None:
    profile = Profile(
        id="p",
        name="p",
        source="invented",
        parts=(
            part("board", weight=2.0),
            part("case", weight=4.0),
            part("rail", PartKind.RAIL, "board", weight=3.0),
            part("flex", PartKind.LINK, weight=0.5),
        ),
        devices=(device("pen", "pen", "case", weight=0.1), device("pad", "touchpad", "case")),
    )
    found = by_id(profile)
    assert found["rail:rail"].prior == pytest.approx(6 * PRIORS[SiteKind.RAIL])
    assert found["link:flex"].prior == pytest.approx(0.5 * PRIORS[SiteKind.LINK])
    assert found["dead:pen"].prior == pytest.approx(0.4 * PRIORS[SiteKind.DEAD])
    assert found["whole:case"].prior == pytest.approx(4 * PRIORS[SiteKind.WHOLE])
    assert found["software:pen"].prior == PRIORS[SiteKind.SOFTWARE]


def test_each_prior_says_where_it_comes_from() -> None:
    # Look-alikes are ranked by priors, so their origin must be at hand.
    weighted = replace(LARCH, devices=(device("camera", "camera", "display", weight=2.5),))
    found = by_id(weighted)
    assert found["software:camera"].origin == "elicited, no source"
    assert found["dead:camera"].origin == "elicited, no source; times 2.5, the profile's weight"


@pytest.mark.parametrize("weight", [0.0, 1e-9, 1e9])
def test_no_weight_makes_a_fault_impossible_or_certain(weight: float) -> None:
    heavy = replace(LARCH, devices=(device("camera", "camera", "display", weight=weight),))
    assert 0 < by_id(heavy)["dead:camera"].prior < 1


@pytest.mark.parametrize("table", [PRIORS, DEAD_PRIORS, SOFTWARE_PRIORS], ids=["kinds", "dead", "software"])
def test_priors_are_those_of_rare_events(table: dict[object, float]) -> None:
    assert all(0 < prior <= 0.05 for prior in table.values())


def test_every_kind_has_a_prior() -> None:
    assert set(PRIORS) == set(SiteKind)

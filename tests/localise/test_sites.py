"""Which ways to fail a profile has, and where their priors come from."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device, part

from usbwatch.localise.sites import (
    DEAD_PRIORS,
    HUNG_PRIORS,
    PRIORS,
    SOFTWARE_PRIORS,
    UNKNOWN_PART,
    SiteKind,
    fitted,
    kind_of,
    sites,
)
from usbwatch.model import HandCheck, Match, PartKind, Profile, Site, Variant


def by_id(profile: Profile) -> dict[str, Site]:
    return {site.id: site for site in sites(profile)}


@pytest.mark.parametrize(
    ("site", "part_", "name"),
    [
        ("open:top-case-flex", "top-case-flex", "top case flex open or unseated"),
        ("broken:top-case-flex", "top-case-flex", "top case flex torn or burnt"),
        ("loose:top-case-flex", "top-case-flex", "top case flex makes contact only at times"),
        ("section:usb-section", "mainboard", "usb section failed"),
        ("rail:top-case-rail", "mainboard", "top case rail off or sagging"),
        ("whole:top-case", "top-case", "top case as a whole, such as by liquid"),
        ("software:camera", "", "camera: no driver, disabled or blocked"),
        ("hung:touchpad", "", "touchpad: its firmware or driver has hung"),
        ("dead:keyboard", "top-case", "keyboard itself"),
        ("unknown:keyboard", UNKNOWN_PART, "keyboard: something that the profile does not know"),
        ("poor:keyboard", "top-case", "keyboard answers but does its work badly"),
        ("poor:top-case", "top-case", "top case: something else in it"),
    ],
    ids=lambda value: value,
)
def test_a_site_names_what_fails_and_what_mends_it(site: str, part_: str, name: str) -> None:
    found = by_id(HERON)[site]
    assert (found.part, found.name) == (part_, name)


@pytest.mark.parametrize(
    ("site", "cure"),
    [
        ("open:top-case-flex", "reseat:top-case-flex"),
        ("broken:top-case-flex", "replace:top-case-flex"),
        ("loose:top-case-flex", "replace:top-case-flex"),
        ("section:usb-section", "replace:mainboard"),
        ("rail:top-case-rail", "replace:mainboard"),
        ("whole:top-case", "replace:top-case"),
        ("software:camera", "reload:camera"),
        ("hung:touchpad", "drain:"),
        ("dead:keyboard", "replace:top-case"),
        ("poor:keyboard", "replace:top-case"),
        ("unknown:keyboard", ""),
    ],
    ids=lambda value: value,
)
def test_each_way_to_fail_has_the_cheapest_thing_that_mends_it(site: str, cure: str) -> None:
    found = by_id(HERON)[site].cure
    assert (found.id if found is not None else "") == cure


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


def test_poor_sites_are_for_what_hand_checks_are_about_and_for_what_a_person_can_try() -> None:
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
        "poor:touchpad": "top-case",
    }


def test_a_variant_loses_the_sites_of_what_it_lacks() -> None:
    variant = Variant(id="plain", name="plain", match=Match(), without=("fingerprint",))
    profile = replace(LARCH, variants=(variant,))
    assert "dead:fingerprint" in by_id(fitted(profile, ""))
    assert set(by_id(profile)) - set(by_id(fitted(profile, "plain"))) == {
        f"{kind}:fingerprint" for kind in ("software", "hung", "dead", "unknown")
    }


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
    assert found["open:flex"].prior == pytest.approx(0.5 * PRIORS[SiteKind.OPEN])
    assert found["dead:pen"].prior == pytest.approx(0.4 * PRIORS[SiteKind.DEAD])
    assert found["whole:case"].prior == pytest.approx(4 * PRIORS[SiteKind.WHOLE])
    # Neither software nor what nobody knows of dies with a weak board.
    assert found["software:pen"].prior == PRIORS[SiteKind.SOFTWARE]
    assert found["unknown:pen"].prior == PRIORS[SiteKind.UNKNOWN]


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


@pytest.mark.parametrize(
    "table", [PRIORS, DEAD_PRIORS, SOFTWARE_PRIORS, HUNG_PRIORS], ids=["kinds", "dead", "software", "hung"]
)
def test_priors_are_those_of_rare_events(table: dict[object, float]) -> None:
    assert all(0 < prior <= 0.05 for prior in table.values())


def test_every_kind_has_a_prior() -> None:
    # Whether a device can hang depends on what it is.
    assert set(PRIORS) == set(SiteKind) - {SiteKind.HUNG}


def test_only_devices_with_firmware_that_is_known_to_hang_can_hang() -> None:
    for profile in (HERON, LARCH):
        hanging = {kind_of(site)[1] for site in sites(profile) if kind_of(site)[0] is SiteKind.HUNG}
        assert hanging == {each.id for each in profile.devices if each.function in HUNG_PRIORS}


def test_every_device_can_fail_in_a_way_that_the_profile_does_not_know() -> None:
    # No leak, no humility.
    unknown = {kind_of(site)[1] for site in sites(HERON) if site.part == UNKNOWN_PART}
    assert unknown == {each.id for each in HERON.devices}

"""What each observation depends on, host side first."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device

from usbwatch.localise.paths import lay_out
from usbwatch.localise.sites import HUNG_PRIORS
from usbwatch.localise.symptoms import Effect
from usbwatch.model import Match, Profile, Variant


def path(profile: Profile, id_: str, variant: str = "") -> list[tuple[str, Effect]]:
    layout = lay_out(profile, variant)
    return [(layout.sites[step.site].id, step.effect) for step in layout.paths[id_]]


def link(id_: str) -> list[tuple[str, Effect]]:
    return [(f"open:{id_}", Effect.OPEN), (f"broken:{id_}", Effect.BROKEN), (f"loose:{id_}", Effect.LOOSE)]


def hung(id_: str, effect: Effect) -> list[tuple[str, Effect]]:
    """Whether a device can hang is for the table of priors to say; here each is named for its function."""
    return [(f"hung:{id_}", effect)] if id_ in HUNG_PRIORS else []


HUB = [
    ("section:usb-section", Effect.SECTION),
    ("software:hub", Effect.CARRIER_SOFTWARE),
    *hung("hub", Effect.CARRIER_DEAD),
    ("dead:hub", Effect.CARRIER_DEAD),
]
CASES = [
    pytest.param(
        HERON,
        "keyboard",
        [
            ("section:usb-section", Effect.SECTION),
            ("rail:top-case-rail", Effect.RAIL),
            *link("top-case-flex"),
            ("whole:top-case", Effect.WHOLE),
            ("software:keyboard", Effect.SOFTWARE),
            ("hung:keyboard", Effect.HUNG),
            ("dead:keyboard", Effect.DEAD),
            ("poor:keyboard", Effect.POOR_ITSELF),
            ("unknown:keyboard", Effect.UNKNOWN),
        ],
        id="needs, subassembly, software, itself, the unknown",
    ),
    pytest.param(
        HERON,
        "ethernet",
        [
            ("software:ethernet", Effect.SOFTWARE),
            ("dead:ethernet", Effect.DEAD),
            ("unknown:ethernet", Effect.UNKNOWN),
        ],
        id="no needs, and a subassembly that does not fail as a whole",
    ),
    pytest.param(
        LARCH,
        "hub",
        [
            ("section:usb-section", Effect.SECTION),
            ("software:hub", Effect.SOFTWARE),
            *hung("hub", Effect.HUNG),
            ("dead:hub", Effect.DEAD),
            ("unknown:hub", Effect.UNKNOWN),
        ],
        id="a hub for itself",
    ),
    pytest.param(
        LARCH,
        "camera",
        [
            *HUB,
            *link("display-cable"),
            ("whole:display", Effect.WHOLE),
            ("software:camera", Effect.SOFTWARE),
            ("hung:camera", Effect.HUNG),
            ("dead:camera", Effect.DEAD),
            ("unknown:camera", Effect.UNKNOWN),
        ],
        id="a hub for what hangs on it",
    ),
    pytest.param(
        HERON,
        "power-button",
        [
            ("section:power-section", Effect.SECTION),
            *link("top-case-flex"),
            ("whole:top-case", Effect.WHOLE),
            ("poor:top-case", Effect.POOR),
        ],
        id="a check about a subassembly",
    ),
    pytest.param(
        HERON,
        "keys",
        [
            ("section:usb-section", Effect.SECTION),
            ("rail:top-case-rail", Effect.RAIL),
            *link("top-case-flex"),
            ("whole:top-case", Effect.WHOLE),
            ("software:keyboard", Effect.CARRIER_SOFTWARE),
            ("hung:keyboard", Effect.CARRIER_DEAD),
            ("dead:keyboard", Effect.CARRIER_DEAD),
            ("poor:keyboard", Effect.POOR),
        ],
        id="a check about a device",
    ),
]


@pytest.mark.parametrize(("profile", "id_", "expected"), CASES)
def test_a_path_runs_from_the_host_outward(profile: Profile, id_: str, expected: list[tuple[str, Effect]]) -> None:
    assert path(profile, id_) == expected


def test_a_need_that_the_variant_lacks_is_passed_over() -> None:
    variant = Variant(id="hubless", name="hubless", match=Match(), without=("hub",))
    profile = replace(LARCH, variants=(variant,))
    assert path(profile, "camera", "hubless") == [each for each in path(profile, "camera") if each not in HUB]


def test_a_section_depends_on_its_subassembly_where_that_fails_as_a_whole() -> None:
    profile = replace(HERON, devices=(*HERON.devices, device("fan", "sensor", "mainboard", "mainboard")), checks=())
    assert path(profile, "camera")[:2] == [("whole:mainboard", Effect.WHOLE), ("section:usb-section", Effect.SECTION)]


@pytest.mark.parametrize("needs", [("a", "b"), ("b", "a")], ids=["ab", "ba"])
def test_devices_that_need_each_other_still_have_a_path(needs: tuple[str, ...]) -> None:
    # The profile's reader refuses such a ring; should one come through, the walk must end.
    ring = replace(
        LARCH,
        devices=(device("a", "hub", "mainboard", *needs), device("b", "hub", "mainboard", *needs)),
    )
    steps = path(ring, "a")
    assert steps[-2:] == [("dead:a", Effect.DEAD), ("unknown:a", Effect.UNKNOWN)]
    assert len({site for site, _ in steps}) == len(steps)
    assert ("dead:b", Effect.CARRIER_DEAD) in steps


def test_a_chain_of_doubled_needs_is_walked_once() -> None:
    # Twice the same need at every one of 60 stages would be 2^60 walks without memory of what was passed.
    chain = [device("d0", "hub", "mainboard")]
    chain += [device(f"d{n}", "hub", "mainboard", f"d{n - 1}", f"d{n - 1}") for n in range(1, 60)]
    steps = path(replace(LARCH, devices=tuple(chain)), "d59")
    assert [site for site, _ in steps if site.startswith("dead:")] == [f"dead:d{n}" for n in range(60)]


def test_contrary_orders_of_the_same_needs_become_one_order() -> None:
    # Else the sum over all fault sets could not be had, over a slip in the order of two words.
    profile = replace(
        HERON,
        devices=(
            device("left", "sensor", "display", "top-case-rail", "display-cable"),
            device("right", "sensor", "display", "display-cable", "top-case-rail"),
        ),
        checks=(),
    )
    left, right = ([site for site, _ in path(profile, each)] for each in ("left", "right"))
    assert left[:4] == right[:4] == ["rail:top-case-rail", *(site for site, _ in link("display-cable"))]
    assert right[4:] == ["whole:display", "software:right", "dead:right", "unknown:right"]

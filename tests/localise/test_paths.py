"""What each observation depends on, host side first."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import HERON, LARCH, device

from usbwatch.localise.paths import lay_out
from usbwatch.localise.symptoms import Effect
from usbwatch.model import Match, Profile, Variant


def path(profile: Profile, id_: str, variant: str = "") -> list[tuple[str, Effect]]:
    layout = lay_out(profile, variant)
    return [(layout.sites[step.site].id, step.effect) for step in layout.paths[id_]]


HUB = [
    ("section:usb-section", Effect.SECTION),
    ("software:hub", Effect.CARRIER_SOFTWARE),
    ("dead:hub", Effect.CARRIER_DEAD),
]
CASES = [
    pytest.param(
        HERON,
        "keyboard",
        [
            ("section:usb-section", Effect.SECTION),
            ("rail:top-case-rail", Effect.RAIL),
            ("link:top-case-flex", Effect.LINK),
            ("whole:top-case", Effect.WHOLE),
            ("software:keyboard", Effect.SOFTWARE),
            ("dead:keyboard", Effect.DEAD),
        ],
        id="needs, subassembly, software, itself",
    ),
    pytest.param(
        HERON,
        "ethernet",
        [("software:ethernet", Effect.SOFTWARE), ("dead:ethernet", Effect.DEAD)],
        id="no needs, and a subassembly that does not fail as a whole",
    ),
    pytest.param(
        LARCH,
        "hub",
        [
            ("section:usb-section", Effect.SECTION),
            ("software:hub", Effect.SOFTWARE),
            ("dead:hub", Effect.DEAD),
        ],
        id="a hub for itself",
    ),
    pytest.param(
        LARCH,
        "camera",
        [
            *HUB,
            ("link:display-cable", Effect.LINK),
            ("whole:display", Effect.WHOLE),
            ("software:camera", Effect.SOFTWARE),
            ("dead:camera", Effect.DEAD),
        ],
        id="a hub for what hangs on it",
    ),
    pytest.param(
        HERON,
        "power-button",
        [
            ("section:power-section", Effect.SECTION),
            ("link:top-case-flex", Effect.LINK),
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
            ("link:top-case-flex", Effect.LINK),
            ("whole:top-case", Effect.WHOLE),
            ("software:keyboard", Effect.CARRIER_SOFTWARE),
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
    assert steps[-1] == ("dead:a", Effect.DEAD)
    assert len({site for site, _ in steps}) == len(steps) == 4


def test_a_chain_of_doubled_needs_is_walked_once() -> None:
    # Twice the same need at every one of 60 stages would be 2^60 walks without memory of what was passed.
    chain = [device("d0", "hub", "mainboard")]
    chain += [device(f"d{n}", "hub", "mainboard", f"d{n - 1}", f"d{n - 1}") for n in range(1, 60)]
    assert len(path(replace(LARCH, devices=tuple(chain)), "d59")) == 120

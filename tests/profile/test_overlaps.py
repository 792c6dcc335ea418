"""Two expected devices of which one node could be either: refused where nothing tells them apart, else told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.invented import PROFILE, capture, node

from usbwatch.compare import findings
from usbwatch.model import ExpectedDevice, Profile, Verdict
from usbwatch.profile.overlaps import Claim, claims_in, claims_of, overlaps

PORT, OTHER_PORT = "pci0000:00/14.0/usb2/4", "pci0000:00/14.0/usb2/5"


def claim(
    id_: str, function: str = "camera", at: tuple[str, ...] = (), named: tuple[str, ...] = (), *, always: bool = True
) -> Claim:
    return Claim(id=id_, function=function, locations=at, identities=named, always=always)


def told(*claims: Claim, lacking: tuple[frozenset[str], ...] = ()) -> list[tuple[str, str, str, bool]]:
    return [(each.other, each.device, each.key, each.certain) for each in overlaps(claims, lacking)]


CERTAIN = {
    "one place, one function": ("location", claim("a", at=(PORT,)), claim("b", at=(PORT,))),
    "one place, other names": (
        "location",
        claim("a", at=(PORT,), named=("1209:0001",)),
        claim("b", at=(PORT,), named=("1209:0002",)),
    ),
    "one place, one not in every unit": ("location", claim("a", at=(PORT,)), claim("b", at=(PORT,), always=False)),
    "no place, no names": ("function", claim("a"), claim("b")),
    "no place, the same names": ("function", claim("a", named=("1209:0001",)), claim("b", named=("1209:0001",))),
}


@pytest.mark.parametrize(("key", "one", "other"), CERTAIN.values(), ids=CERTAIN.keys())
def test_with_nothing_to_tell_them_apart_it_is_certain(key: str, one: Claim, other: Claim) -> None:
    assert told(one, other) == [("a", "b", key, True)]


PERHAPS = {
    "one place, two functions": ("location", claim("a", at=(PORT,)), claim("b", "wlan", at=(PORT,))),
    "one of several places": ("location", claim("a", at=(PORT,)), claim("b", at=(PORT, OTHER_PORT))),
    "one of them has a name": ("function", claim("a"), claim("b", named=("1209:0001",))),
    "one name in common": (
        "function",
        claim("a", named=("1209:0001", "1209:0002")),
        claim("b", named=("1209:0002", "1209:0003")),
    ),
    "one name, two functions": (
        "identity",
        claim("a", named=("1209:0001",)),
        claim("b", "keyboard", named=("1209:0001",)),
    ),
}


@pytest.mark.parametrize(("key", "one", "other"), PERHAPS.values(), ids=PERHAPS.keys())
def test_where_something_may_settle_it_it_is_only_told(key: str, one: Claim, other: Claim) -> None:
    assert told(one, other) == [("a", "b", key, False)]


FINE = {
    "two places": (claim("a", at=(PORT,)), claim("b", at=(OTHER_PORT,))),
    "the same part in two places": (
        claim("a", at=(PORT,), named=("1209:0001",)),
        claim("b", at=(OTHER_PORT,), named=("1209:0001",)),
    ),
    "a place and none": (claim("a", at=(PORT,)), claim("b")),
    "two functions": (claim("a"), claim("b", "wlan")),
    "names of their own": (claim("a", named=("1209:0001",)), claim("b", named=("1209:0002",))),
    "either may be fitted there": (
        claim("a", "wlan", at=(PORT,), always=False),
        claim("b", "wwan", at=(PORT,), always=False),
    ),
    "places to swap, names to tell": (
        claim("a", at=(PORT, OTHER_PORT), named=("1209:0001",)),
        claim("b", at=(PORT, OTHER_PORT), named=("1209:0002",)),
    ),
    "functions not known": (claim("a", ""), claim("b", "")),
}


@pytest.mark.parametrize(("one", "other"), FINE.values(), ids=FINE.keys())
def test_what_can_be_told_apart_is_not_told(one: Claim, other: Claim) -> None:
    assert told(one, other) == []


def test_devices_of_which_each_variant_lacks_one_are_never_expected_together() -> None:
    pair = claim("a", at=(PORT,)), claim("b", at=(PORT,))
    assert told(*pair, lacking=(frozenset({"a"}), frozenset({"b", "c"}))) == []
    assert told(*pair, lacking=(frozenset({"a"}), frozenset({"c"}))) == [("a", "b", "location", True)]


def test_the_claims_of_a_file_are_those_of_its_profile() -> None:
    tables: dict[str, dict[str, object]] = {
        "list": {"function": "camera", "location": [PORT, OTHER_PORT], "identity": "1209:0001"},
        "bare": {"function": "wlan", "optional": True},
        "gated": {"function": "lid", "firmware_names": ["PNP0C0D"]},
    }
    devices = (
        ExpectedDevice(
            id="list",
            name="",
            function="camera",
            within="",
            locations=(PORT, OTHER_PORT),
            identities=("1209:0001",),
        ),
        ExpectedDevice(id="bare", name="", function="wlan", within="", optional=True),
        ExpectedDevice(id="gated", name="", function="lid", within="", firmware_names=("PNP0C0D",)),
    )
    profile = Profile(id="p", name="p", source="invented", devices=devices)
    assert list(claims_in(tables)) == list(claims_of(profile))


def test_a_place_of_the_wrong_shape_claims_nothing() -> None:
    assert list(claims_in({"a": {"function": "camera", "location": 4}, "b": {"function": 3}})) == [claim("b", "")]


def test_of_two_that_claim_one_place_a_healthy_unit_always_lacks_one() -> None:
    """The reason for the rule, by the comparison itself."""
    camera = next(device for device in PROFILE.devices if device.id == "camera")
    twice = Profile(id="p", name="p", source="invented", devices=(camera, replace(camera, id="again")))
    found = findings(capture(nodes=(node("camera"),)), twice).findings
    assert [each.verdict is Verdict.PRESENT for each in found].count(True) == 1


_CLAIMS = st.builds(
    Claim,
    id=st.sampled_from("abcdef"),
    function=st.sampled_from(("camera", "wlan")),
    locations=st.lists(st.sampled_from((PORT, OTHER_PORT)), max_size=2).map(tuple),
    identities=st.lists(st.sampled_from(("1209:0001", "1209:0002")), max_size=2).map(tuple),
    always=st.booleans(),
)


@pytest.mark.properties
@given(claims=st.lists(_CLAIMS, max_size=6, unique_by=lambda each: each.id))
def test_each_pair_is_told_at_most_once_and_has_something_in_common(claims: list[Claim]) -> None:
    by_id = {each.id: each for each in claims}
    found = overlaps(claims)
    assert len({frozenset((each.device, each.other)) for each in found}) == len(found)
    for each in found:
        one, other = by_id[each.device], by_id[each.other]
        assert (
            set(one.locations) & set(other.locations)
            or set(one.identities) & set(other.identities)
            or one.function == other.function
        )

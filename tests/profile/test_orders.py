"""One order for all paths: told wherever the paths that the weighing of faults walks contradict each other."""

from __future__ import annotations

from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.examples import costly
from support.wired import device, part

from usbwatch.localise.paths import _path, _Trace
from usbwatch.localise.sites import sites
from usbwatch.model import ExpectedDevice, HandCheck, PartKind, Profile
from usbwatch.profile import known
from usbwatch.profile.orders import contrary, reached

BOARD, CASE = part("board"), part("case")
RAIL, FLEX = part("rail", PartKind.RAIL, "board"), part("flex", PartKind.LINK)
SOCKET = part("socket", PartKind.SECTION, "case")


def profile(*devices: ExpectedDevice, checks: tuple[HandCheck, ...] = ()) -> Profile:
    parts = (BOARD, CASE, RAIL, FLEX, SOCKET)
    return Profile(id="p", name="p", source="generated", parts=parts, devices=devices, checks=checks)


@pytest.mark.parametrize(
    ("devices", "told"),
    [
        ((device("a", "camera", "case", "rail", "flex"), device("b", "hub", "case", "rail", "flex")), None),
        (
            (device("a", "camera", "case", "rail", "flex"), device("b", "hub", "case", "flex", "rail")),
            ("b", "comes to flex before rail, a the other way round"),
        ),
        (
            (
                device("a", "camera", "case", "rail", "flex"),
                device("b", "camera", "case", "flex", "socket"),
                device("c", "camera", "case", "socket", "rail"),
            ),
            ("b", "comes to flex before socket, other devices taken together the other way round"),
        ),
        ((device("hub", "hub", "board", "rail"), device("b", "camera", "case", "hub", "flex", "rail")), None),
    ],
    ids=["one order", "two contrary", "three in a ring", "what is reached again counts once"],
)
def test_paths_that_contradict_each_other_are_told(
    devices: tuple[ExpectedDevice, ...], told: tuple[str, str] | None
) -> None:
    found = contrary(profile(*devices))
    assert found == told


def test_hand_checks_may_name_parts_in_any_order() -> None:
    check = HandCheck(id="c", question="?", needs=("flex", "rail"))
    assert contrary(profile(device("a", "camera", "case", "rail", "flex"), checks=(check,))) is None


def test_what_is_reached_goes_through_devices() -> None:
    hub = device("hub", "hub", "board", "rail")
    assert reached(("hub", "flex"), profile(hub)) == {"hub", "rail", "flex"}


def _contradict(profile: Profile) -> bool:
    """By definition: no order of the sites agrees with every device's path, as the profile lists its needs."""
    index = {site.id: number for number, site in enumerate(sites(profile))}
    trace = _Trace(parts={each.id: each for each in profile.parts}, devices={each.id: each for each in profile.devices})
    sorter: TopologicalSorter[int] = TopologicalSorter()
    for each in profile.devices:
        for before, after in pairwise(step.site for step in _path(trace.of_device(each), index)):
            sorter.add(after, before)
    try:
        sorter.prepare()
    except CycleError:
        return True
    return False


@st.composite
def _profiles(draw: st.DrawFn) -> Profile:
    ids = ["board", "case", "rail", "flex", "socket"]
    devices = []
    for number in range(draw(st.integers(1, 4))):
        needs = draw(st.lists(st.sampled_from(ids), max_size=4, unique=True))
        devices.append(device(f"d{number}", "camera", draw(st.sampled_from(("board", "case"))), *needs))
        ids.append(f"d{number}")
    return profile(*devices)


@pytest.mark.properties
class TestContrary:
    """The same answer as from the paths that the weighing of faults walks."""

    @given(made=_profiles())
    @settings(max_examples=costly(200))
    def test_told_where_no_order_of_the_sites_agrees_with_all_paths(self, made: Profile) -> None:
        found = contrary(made)
        assert (found is not None) == _contradict(made)
        if found is not None:
            assert found[0] in {each.id for each in made.devices}

    @pytest.mark.parametrize("shipped", known(), ids=lambda each: each.id)
    def test_no_shipped_profile_contradicts_itself(self, shipped: Profile) -> None:
        assert not _contradict(shipped)
        assert contrary(shipped) is None

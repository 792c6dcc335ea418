"""The likely sets of any size, against every set by its definition and against the exact sums."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.by_definition import lasting_by_definition
from support.small_units import benches, units
from support.wired import bench_sized, found

from usbwatch.localise import Beliefs, believe
from usbwatch.localise.likely_sets import likely_sets
from usbwatch.model import Findings, Look, Profile

Sets = dict[frozenset[int], float]


def by_engine(beliefs: Beliefs, asked: frozenset[int], most: int) -> Sets:
    """The likely sets of lasting faults at these sites, by number of the site."""
    assert beliefs.every_set is not None
    bits = [each.site if each.lasts and each.site in asked else -1 for each in beliefs.courses]
    masks, chances = likely_sets(beliefs.every_set, bits, most)
    assert len(set(masks.tolist())) == len(masks)
    return {
        frozenset(site for site in asked if mask >> site & 1): chance
        for mask, chance in zip(masks.tolist(), chances.tolist(), strict=True)
    }


def by_definition(beliefs: Beliefs, asked: frozenset[int]) -> Sets:
    """The same over every history of every site."""
    found_: Sets = {}
    for faults, chance in lasting_by_definition(beliefs.layout, beliefs.looks).items():
        key = frozenset(faults) & asked
        found_[key] = found_.get(key, 0.0) + chance
    return found_


@pytest.mark.properties
@given(bench=benches(), asked=st.frozensets(st.integers(0, 10), max_size=9))
def test_where_all_can_be_kept_every_set_has_its_probability_by_definition(
    bench: tuple[Profile, tuple[Look, ...]], asked: frozenset[int]
) -> None:
    profile, looks = bench
    beliefs = believe(profile, looks)
    expected = by_definition(beliefs, asked)
    engine = by_engine(beliefs, asked, 2**11)
    assert set(engine) <= set(expected)
    assert expected == pytest.approx({faults: engine.get(faults, 0.0) for faults in expected}, rel=1e-9, abs=1e-12)


@pytest.mark.properties
@given(unit=units(), most=st.integers(1, 40))
def test_where_few_are_kept_the_likely_ones_are_exact_and_all_stand_for_the_whole(
    unit: tuple[Profile, Findings], most: int
) -> None:
    profile, findings = unit
    beliefs = believe(profile, (Look(findings=findings),))
    asked = frozenset(range(11))
    expected, engine = by_definition(beliefs, asked), by_engine(beliefs, asked, most)
    assert len(engine) <= most
    assert sum(engine.values()) == pytest.approx(1)
    for faults, chance in expected.items():
        if chance >= 1.001 / most:
            assert engine[faults] == pytest.approx(chance, rel=1e-9)
        elif faults in engine:  # it stands for others beside itself
            assert engine[faults] >= chance * (1 - 1e-9)


@pytest.mark.parametrize("count", [3, 8, 20])
def test_few_hundred_sets_keep_the_probability_of_every_fault_of_a_large_unit(count: int) -> None:
    # The marginals are had exactly by another way (EverySet.marginals). A selection of 400 has a standard error of at
    # most the root of 1/4/400, 0.025: twice that is allowed.
    profile = bench_sized()
    lost = [device.id for device in profile.devices[::2][:count]]
    beliefs = believe(profile, (Look(findings=found(profile, absent=lost)),))
    assert beliefs.every_set is not None
    exact = np.array(beliefs.marginals)
    kept = sorted(np.argsort(-exact)[:60].tolist())
    bits = [kept.index(number) if number in kept else -1 for number in range(len(exact))]
    masks, chances = likely_sets(beliefs.every_set, bits, 400)
    for bit, number in enumerate(kept):
        has = (masks >> np.uint64(bit)) & np.uint64(1)
        assert float(chances @ has) == pytest.approx(exact[number], abs=0.05)

"""What is believed after several looks, against its definition and against the rules of the bench."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from support.by_definition import lasting_by_definition
from support.small_units import benches

from usbwatch.localise import believe
from usbwatch.model import Look, Profile

Bench = tuple[Profile, tuple[Look, ...]]


@pytest.mark.properties
@settings(deadline=None, max_examples=40)
@given(bench=benches())
def test_after_any_steps_it_is_the_definition(bench: Bench) -> None:
    profile, looks = bench
    beliefs = believe(profile, looks)
    expected = lasting_by_definition(beliefs.layout, looks)
    lasting = {number: course.site for number, course in enumerate(beliefs.courses) if course.lasts}
    groups = [[n for n, site in lasting.items() if site == each] for each in range(len(beliefs.layout.sites))]
    assert beliefs.every_set is not None
    whole, *each_site = beliefs.shares([list(lasting), *groups])
    assert whole.none == pytest.approx(expected[()], abs=1e-10)
    for site, share in enumerate(each_site):
        assert share.any == pytest.approx(sum(p for faults, p in expected.items() if site in faults), abs=1e-10)
        assert share.any == pytest.approx(sum(beliefs.marginals[n] for n in groups[site]), abs=1e-10)

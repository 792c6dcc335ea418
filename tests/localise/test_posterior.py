"""The arithmetic, against its definition and against published examples."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from itertools import chain, combinations
from math import prod

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.by_definition import every_set, posterior_by_definition
from support.small_units import units

from usbwatch.localise.observations import observations
from usbwatch.localise.paths import lay_out
from usbwatch.localise.posterior import Hazard, Observation, likelihood, posterior
from usbwatch.model import Findings, Profile


def noisy_or(causes: Mapping[int, float | Fraction], leak: float | Fraction, *, positive: bool) -> Observation:
    """A finding that each cause brings about with its own probability, and nothing with ``leak``."""
    return Observation(
        id="finding",
        wrong=positive,
        clean=float(leak if positive else 1 - leak),
        hazards=tuple(
            Hazard(site=site, passes=float(1 - strength), shows=float(strength) if positive else 0.0)
            for site, strength in causes.items()
        ),
    )


@pytest.mark.properties
@settings(deadline=None)
@given(unit=units())
def test_with_all_faults_allowed_it_is_the_definition_over_all_sets(unit: tuple[Profile, Findings]) -> None:
    profile, findings = unit
    layout = lay_out(profile)
    expected = posterior_by_definition(layout, findings)
    ours = posterior([site.prior for site in layout.sites], observations(layout, findings), len(layout.sites))
    assert ours.keys() == expected.keys()
    assert max(abs(ours[faults] - expected[faults]) for faults in expected) < 1e-10


@pytest.mark.properties
@settings(deadline=None)
@given(unit=units(), depth=st.integers(0, 3))
def test_a_depth_is_the_definition_cut_to_small_sets(unit: tuple[Profile, Findings], depth: int) -> None:
    profile, findings = unit
    layout = lay_out(profile)
    cut = {set_: p for set_, p in posterior_by_definition(layout, findings).items() if len(set_) <= depth}
    ours = posterior([site.prior for site in layout.sites], observations(layout, findings), depth)
    assert ours.keys() == cut.keys()
    assert max(abs(ours[faults] - cut[faults] / sum(cut.values())) for faults in cut) < 1e-10


@pytest.mark.properties
@settings(deadline=None)
@given(unit=units())
def test_no_fault_set_is_ruled_out(unit: tuple[Profile, Findings]) -> None:
    # A zero absorbs, and no later evidence can undo it.
    profile, findings = unit
    layout = lay_out(profile)
    assert min(posterior([site.prior for site in layout.sites], observations(layout, findings), 2).values()) > 0


FINDINGS = 7


def _share(least: int, most: int) -> st.SearchStrategy[Fraction]:
    return st.integers(least, most).map(lambda thousandths: Fraction(thousandths, 1000))


@st.composite
def networks(draw: st.DrawFn) -> tuple[list[Fraction], list[dict[int, Fraction]], list[Fraction]]:
    """Ten causes with priors, and seven findings with their causes and leaks."""
    causes = st.dictionaries(st.integers(0, 9), _share(50, 900), min_size=1, max_size=10)
    return (
        draw(st.lists(_share(10, 300), min_size=10, max_size=10)),
        draw(st.lists(causes, min_size=FINDINGS, max_size=FINDINGS)),
        draw(st.lists(_share(1, 100), min_size=FINDINGS, max_size=FINDINGS)),
    )


def quickscore(
    priors: list[Fraction], causes: list[dict[int, Fraction]], leaks: list[Fraction], positive: int
) -> list[float]:
    """Posterior of each cause by inclusion and exclusion over the positive findings (the first ``positive``).

    In fractions, for its alternating sum cancels.
    """

    def evidence(certain: int | None) -> Fraction:
        total = Fraction(0)
        for subset in chain.from_iterable(combinations(range(positive), size) for size in range(positive + 1)):
            denied = [*subset, *range(positive, FINDINGS)]
            term = prod((1 - leaks[finding] for finding in denied), start=Fraction(1))
            for cause, prior in enumerate(priors):
                spared = prod((1 - causes[finding].get(cause, 0) for finding in denied), start=Fraction(1))
                term *= prior * spared + (0 if cause == certain else 1 - prior)
            total += (-1) ** len(subset) * term
        return total

    whole = evidence(None)
    return [float(evidence(cause) / whole) for cause in range(len(priors))]


@pytest.mark.properties
@settings(max_examples=30, deadline=None)
@given(network=networks())
def test_with_two_outcomes_it_is_noisy_or_and_quickscore_gives_the_same(
    network: tuple[list[Fraction], list[dict[int, Fraction]], list[Fraction]],
) -> None:
    # Heckerman 1989, "A tractable inference algorithm for diagnosing multiple diseases" (abstract seen; the
    # formula from memory): 10 causes, 4 positive and 3 negative findings.
    priors, causes, leaks = network
    seen = [noisy_or(each, leak, positive=n < 4) for n, (each, leak) in enumerate(zip(causes, leaks, strict=True))]
    beliefs = posterior([float(prior) for prior in priors], seen, len(priors))
    ours = [sum(p for faults, p in beliefs.items() if cause in faults) for cause in range(len(priors))]
    assert ours == pytest.approx(quickscore(priors, causes, leaks, positive=4), abs=1e-12)


CONFLICTS = [{2, 4, 5}, {1, 2, 3}, {1, 3, 5}, {2, 4, 6}, {2, 4}, {2, 3, 5}, {1, 6}]
HITTING_SETS = {(1, 2), (1, 3, 4), (1, 4, 5), (2, 3, 6), (2, 5, 6), (3, 4, 6)}


def test_fault_sets_that_account_for_everything_are_the_hitting_sets_of_the_paths() -> None:
    # Reiter 1987, "A theory of diagnosis from first principles", the HS-tree example (from memory): seven
    # conflicts over six components. Near-certain faults and a leak near 0 make the model a logical one.
    seen = [noisy_or(dict.fromkeys(sorted(each), 1 - 1e-9), 1e-9, positive=True) for each in CONFLICTS]
    beliefs = posterior([1e-9, *[0.01] * 6], seen, 3)
    hitting = [set_ for set_ in beliefs if all(likelihood(each, set_) > 0.5 for each in seen)]
    minimal = {set_ for set_ in hitting if not any(set(other) < set(set_) for other in hitting)}
    assert minimal == HITTING_SETS
    # Two faults at odds of 1 to 99 are likelier than three: the one minimal pair comes first.
    assert max(beliefs, key=lambda set_: beliefs[set_]) == (1, 2)


def test_two_faults_on_one_path_act_in_its_order() -> None:
    shows = Observation(
        id="x",
        wrong=True,
        clean=0.001,
        hazards=(Hazard(site=0, passes=0.1, shows=0.7), Hazard(site=1, passes=0.2, shows=0.3)),
    )
    assert likelihood(shows, ()) == 0.001
    assert likelihood(shows, (0,)) == pytest.approx(0.7 + 0.1 * 0.001)
    assert likelihood(shows, (0, 1)) == pytest.approx(0.7 + 0.1 * 0.3 + 0.1 * 0.2 * 0.001)


def test_without_evidence_the_posterior_is_the_prior() -> None:
    priors = [0.1, 0.2, 0.3]
    beliefs = posterior(priors, [], 3)
    assert set(beliefs) == set(every_set(3))
    for faults, probability in beliefs.items():
        assert probability == pytest.approx(prod(p if n in faults else 1 - p for n, p in enumerate(priors)))


def test_evidence_that_no_fault_could_have_foreseen_does_not_overflow() -> None:
    # A hub on the path of 400 working devices: odds of 1e-1700 against it, far below the smallest float.
    well = Observation(id="x", wrong=False, clean=0.99, hazards=(Hazard(site=0, passes=5e-5, shows=0.0),))
    beliefs = posterior([0.01, 0.01], [well] * 400, 2)
    assert beliefs[()] == pytest.approx(0.99)


def test_a_negative_depth_is_refused() -> None:
    with pytest.raises(ValueError, match="depth -1 is negative"):
        posterior([0.1], [], -1)

"""The arithmetic, against its definition and against published examples."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import chain, combinations
from math import exp, fsum, log, prod

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.by_definition import every_set
from support.examples import costly

from usbwatch.localise.every_set import MOST_WRONG, EverySet
from usbwatch.localise.weighing import Fault, Hazard, Observation, likelihood, log_weights


def posterior(priors: Sequence[float], observations: Sequence[Observation], depth: int) -> dict[tuple[int, ...], float]:
    """Every set of at most ``depth`` faults with its probability; together 1."""
    faults = [Fault(site=site, odds=prior / (1 - prior)) for site, prior in enumerate(priors)]
    weights = {
        tuple(members.tolist()): exp(weight)
        for sets, logs in log_weights(faults, observations, depth)
        for members, weight in zip(sets, logs, strict=True)
    }
    total = fsum(weights.values())
    return {members: weight / total for members, weight in weights.items()}


def noisy_or(causes: Mapping[int, float | Fraction], leak: float | Fraction, *, positive: bool) -> Observation:
    """A finding that each cause brings about with its own probability, and nothing with ``leak``."""
    return Observation(
        id="finding",
        wrong=positive,
        clean=float(leak if positive else 1 - leak),
        hazards=tuple(
            Hazard(fault=site, passes=float(1 - strength), shows=float(strength) if positive else 0.0)
            for site, strength in causes.items()
        ),
    )


Model = tuple[list[Fault], list[Observation]]
_CHANCES = st.floats(1e-4, 0.9)


@st.composite
def observations_of(draw: st.DrawFn, order: Sequence[int], name: str) -> Observation:
    """A random observation, whose path is part of the order."""
    path = [fault for fault in order if draw(st.booleans())]
    wrong = draw(st.booleans())
    passes = [draw(_CHANCES) for _ in path]
    shares = [draw(st.sampled_from((0.02, 0.7, 1.0))) if wrong else 0.0 for _ in path]
    hazards = (
        Hazard(fault=fault, passes=passing, shows=(1 - passing) * share)
        for fault, passing, share in zip(path, passes, shares, strict=True)
    )
    return Observation(id=name, wrong=wrong, clean=draw(_CHANCES), hazards=tuple(hazards))


@st.composite
def models(draw: st.DrawFn, most_faults: int = 9) -> Model:
    """Faults of which some exclude each other, and observations on whose paths they stand in one order of sites."""
    count = draw(st.integers(1, most_faults))
    sites = sorted(draw(st.integers(0, count - 1)) for _ in range(count))
    faults = [Fault(site=site, odds=draw(st.floats(1e-4, 2.0))) for site in sites]
    by_site = draw(st.permutations(sorted(set(sites))))
    order = sorted(range(count), key=lambda fault: by_site.index(sites[fault]))
    return faults, [draw(observations_of(order, f"o{n}")) for n in range(draw(st.integers(0, 4)))]


def chance_by_definition(observation: Observation, members: Sequence[int]) -> float:
    """The first that shows wins: told as a story, host side first."""
    acting = [hazard for hazard in observation.hazards if hazard.fault in members]
    stories = [prod(each.passes for each in acting[:n]) * each.shows for n, each in enumerate(acting)]
    return fsum([*stories, prod(each.passes for each in acting) * observation.clean])


def weights_by_definition(faults: Sequence[Fault], seen: Sequence[Observation]) -> dict[tuple[int, ...], float]:
    """Odds of every set without two faults of one site, times the chance of what was seen."""
    return {
        members: prod(faults[n].odds for n in members) * prod(chance_by_definition(each, members) for each in seen)
        for members in every_set(len(faults))
        if len({faults[n].site for n in members}) == len(members)
    }


@pytest.mark.properties
@given(model=models(), data=st.data())
def test_over_all_sets_it_is_the_definition(model: Model, data: st.DataObject) -> None:
    faults, seen = model
    sums = EverySet.of(faults, seen)
    assert sums is not None
    weights = weights_by_definition(faults, seen)
    total = fsum(weights.values())
    assert sums.log_total() == pytest.approx(log(total / weights[()]), abs=1e-12)
    for number, chance in enumerate(sums.marginals()):
        assert chance == pytest.approx(
            fsum(w for members, w in weights.items() if number in members) / total, rel=1e-11
        )
    groups = data.draw(st.lists(st.sets(st.integers(0, len(faults) - 1)), max_size=3))
    for group, share in zip(groups, sums.shares(groups), strict=True):
        some = fsum(weight for members, weight in weights.items() if group.intersection(members))
        none = fsum(weight for members, weight in weights.items() if not group.intersection(members))
        # Relative, however small: neither may vanish in the other's rounding.
        assert share.none == pytest.approx(none / total, rel=1e-11)
        assert share.any == pytest.approx(some / total, rel=1e-11)


@pytest.mark.properties
@given(model=models(), depth=st.integers(0, 3))
def test_a_depth_is_the_definition_cut_to_small_sets(model: Model, depth: int) -> None:
    faults, seen = model
    weights = weights_by_definition(faults, seen)
    rings = log_weights(faults, seen, depth)
    ours = {
        tuple(members.tolist()): exp(logs) for sets, logs_ in rings for members, logs in zip(sets, logs_, strict=True)
    }
    # Two faults of one site exclude each other: such a set is listed, and weighs nothing.
    assert {members for members, weight in ours.items() if weight > 0} == {m for m in weights if len(m) <= depth}
    for members, weight in ours.items():
        assert weight == pytest.approx(weights.get(members, 0.0) / weights[()], rel=1e-9)


def test_where_paths_contradict_each_other_there_is_no_sum_over_all_sets() -> None:
    def through(*path: int) -> Observation:
        return Observation(
            id="x", wrong=True, clean=0.1, hazards=tuple(Hazard(fault=n, passes=0.1, shows=0.5) for n in path)
        )

    faults = [Fault(site=n, odds=0.1) for n in range(2)]
    assert EverySet.of(faults, [through(0, 1), through(0, 1)]) is not None
    assert EverySet.of(faults, [through(0, 1), through(1, 0)]) is None


@pytest.mark.parametrize(
    ("count", "tied", "had"),
    [(MOST_WRONG, True, True), (MOST_WRONG + 1, True, False), (2 * MOST_WRONG, False, True)],
    ids=["as many as fit", "one more", "twice as many, each by itself"],
)
def test_the_sum_over_all_sets_is_had_up_to_so_many_that_are_tied(count: int, *, tied: bool, had: bool) -> None:
    own = [Fault(site=n, odds=0.1) for n in range(count + 1)]
    seen = [
        Observation(
            id=f"o{n}",
            wrong=True,
            clean=0.01,
            hazards=tuple(Hazard(fault=f, passes=0.1, shows=0.5) for f in ([count, n] if tied else [n])),
        )
        for n in range(count)
    ]
    assert (EverySet.of(own, seen) is not None) is had


@pytest.mark.parametrize("count", [31, 32, 33, 200])
def test_any_number_of_losses_that_share_nothing_is_the_product_over_them(count: int) -> None:
    # Two and two share one fault, and each has one of its own; the last of an odd number stands alone.
    faults = [Fault(site=n, odds=0.02 + 0.001 * (n % 7)) for n in range(2 * count)]
    seen = [
        Observation(
            id=f"o{n}",
            wrong=True,
            clean=0.001 + 0.01 * (n % 3),
            hazards=tuple(Hazard(fault=fault, passes=0.1, shows=0.5) for fault in (n, count + n // 2)),
        )
        for n in range(count)
    ]
    sums = EverySet.of(faults, seen)
    assert sums is not None
    assert sums.widest == 2
    expected = [fault.odds / (1 + fault.odds) for fault in faults]  # of those that touch nothing
    log_total = fsum(log(1 + fault.odds) for fault in faults[count + (count + 1) // 2 :])
    for first in range(0, count, 2):
        shown = seen[first : first + 2]
        members = sorted({hazard.fault for each in shown for hazard in each.hazards})
        weights = {
            chosen: prod(faults[each].odds for each in chosen)
            * prod(likelihood(each, chosen) / each.clean for each in shown)
            for chosen in chain.from_iterable(combinations(members, size) for size in range(4))
        }
        log_total += log(fsum(weights.values()))
        for each in members:
            own = fsum(weight for chosen, weight in weights.items() if each in chosen)
            expected[each] = own / fsum(weights.values())
    assert sums.marginals() == pytest.approx(expected, rel=1e-9)
    assert sums.log_total() == pytest.approx(log_total, rel=1e-12)
    assert sums.shares([[0], [3, count]])[0].any == pytest.approx(expected[0], rel=1e-9)


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
@settings(max_examples=costly(20), deadline=None)
@given(network=networks())
def test_with_two_outcomes_it_is_noisy_or_and_quickscore_gives_the_same(
    network: tuple[list[Fraction], list[dict[int, Fraction]], list[Fraction]],
) -> None:
    # Heckerman 1989, "A tractable inference algorithm for diagnosing multiple diseases" (abstract seen; the
    # formula from memory): 10 causes, 4 positive and 3 negative findings.
    priors, causes, leaks = network
    seen = [noisy_or(each, leak, positive=n < 4) for n, (each, leak) in enumerate(zip(causes, leaks, strict=True))]
    faults = [Fault(site=cause, odds=float(prior / (1 - prior))) for cause, prior in enumerate(priors)]
    sums = EverySet.of(faults, seen)
    assert sums is not None
    assert sums.marginals() == pytest.approx(quickscore(priors, causes, leaks, positive=4), abs=1e-12)


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
        hazards=(Hazard(fault=0, passes=0.1, shows=0.7), Hazard(fault=1, passes=0.2, shows=0.3)),
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
    well = Observation(id="x", wrong=False, clean=0.99, hazards=(Hazard(fault=0, passes=5e-5, shows=0.0),))
    beliefs = posterior([0.01, 0.01], [well] * 400, 2)
    assert beliefs[()] == pytest.approx(0.99)

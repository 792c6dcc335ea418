"""A problem small enough to be solved: one fault of five, one symptom, three tests, every order of everything tried.

The optimum is found by dynamic programming over all that can have been tried
and answered, in this module, from the simulator's own tables. The policy
under test is followed through every outcome, so its cost is exact as well.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache

from benchmarks.bench_simulator.bench import MEASURE, Bench, Deed, Policy, price
from benchmarks.bench_simulator.engine import Engine, Seen
from benchmarks.bench_simulator.tables import World, matched
from usbwatch.model import ExpectedDevice, HandCheck, Money, Part, PartKind, Profile

__all__ = ["Small", "drawn", "followed", "optimum"]

_TRIES = 2
_TOO_SMALL = 1e-4
_MOST_DEEDS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Small:
    """One small problem."""

    profile: Profile
    priors: tuple[float, ...]
    """Per fault, together with the chance that it makes the device absent."""
    cures: dict[Deed, tuple[tuple[int, ...], float]]
    """What mends a fault: which, and how often it fails."""
    tests: dict[Deed, tuple[float, ...]]
    """Per fault, the chance that the answer is no."""
    gap: float


_WITHIN = {"near-section": "near-board", "far-section": "far-board", "rail": "near-board"}
_FAULTS = (("section", "near-section"), ("rail", "rail"), ("section", "far-section"))


def drawn(seed: int) -> Small:
    """A small problem with prices, weights and tests of its own."""
    coin = random.Random(seed)
    weights = {id_: coin.choice((0.5, 1.0, 2.0, 4.0)) for id_ in (*_WITHIN, "sound")}
    boards = [
        Part(id=id_, kind=PartKind.SUBASSEMBLY, name=id_, cost=coin.randint(20, 140), minutes=coin.randint(10, 60))
        for id_ in ("near-board", "far-board", "sound-board")
    ]
    lines = [
        Part(
            id=id_,
            kind=PartKind.RAIL if id_ == "rail" else PartKind.SECTION,
            name=id_,
            within=within,
            weight=weights[id_],
        )
        for id_, within in _WITHIN.items()
    ]
    checks = tuple(
        HandCheck(id=id_, question=id_, needs=(need,), minutes=coin.randint(1, 12))
        for id_, need in (("near-test", "near-section"), ("far-test", "far-section"))
    )
    sound = ExpectedDevice(
        id="sound",
        name="sound",
        function="audio",
        within="sound-board",
        needs=("near-section", "rail", "far-section"),
        weight=weights["sound"],
    )
    profile = Profile(
        id=f"small-{seed}",
        name="small",
        source="invented",
        parts=(*boards, *lines),
        devices=(sound,),
        checks=checks,
        money=Money(currency="EUR", value_working=coin.randint(250, 500), value_as_is=100, hourly_rate=36),
    )
    return _small(profile, weights, matched())


def _small(profile: Profile, weights: dict[str, float], world: World) -> Small:
    absent = 1
    priors: list[float] = []
    tests: dict[Deed, list[float]] = {("check", "near-test"): [], ("check", "far-test"): [], ("measure", "rail"): []}
    needs = {"near-test": "near-section", "far-test": "far-section"}
    # A no can come of a cause outside, or of what the check alone would show.
    by_chance = 1 - (1 - world.wrongly_no) * (1 - world.prior["poor"] * (1 - world.chances("poor", "")[0]))
    of_fault = [*((*each, weights[each[1]]) for each in _FAULTS), ("software", "sound", 1.0)]
    of_fault += [("dead", "sound", weights["sound"]), ("strange", "sound", 1.0)]
    for kind, of, weight in of_fault:
        prior = (world.prior_of(kind, "audio") or 0.0) * weight
        priors.append(prior / (1 - prior) * world.chances(kind, "audio")[absent])
        for (what, test), chances in tests.items():
            if what == "measure":
                chances.append(1 - world.meter_misleads if of == test else world.meter_misleads)
            else:
                spoilt = 1 - world.chances(kind, "")[0] if of == needs[test] else 0.0
                chances.append(1 - (1 - by_chance) * (1 - spoilt))
    new = world.bad_bought + world.wrong_part_changed
    cures: dict[Deed, tuple[tuple[int, ...], float]] = {
        ("fit", "near-board"): ((0, 1), new),
        ("fit", "far-board"): ((2,), new),
        ("reload", "sound"): ((3,), world.reload_fails),
        ("fit", "sound-board"): ((4,), new),
    }
    money = profile.money
    return Small(
        profile=profile,
        priors=tuple(priors),
        cures=cures,
        tests={test: tuple(chances) for test, chances in tests.items()},
        gap=float((money.value_working or 0) - (money.value_as_is or 0)),
    )


Weights = tuple[float, ...]


def _after(weights: Weights, mends: tuple[int, ...], fails: float) -> Weights:
    return tuple(weight * fails if number in mends else weight for number, weight in enumerate(weights))


def _split(weights: Weights, no: tuple[float, ...]) -> tuple[Weights, Weights]:
    """The weights on yes and on no."""
    return (
        tuple(weight * (1 - chance) for weight, chance in zip(weights, no, strict=True)),
        tuple(weight * chance for weight, chance in zip(weights, no, strict=True)),
    )


def optimum(small: Small) -> float:
    """The least expected cost that any policy can reach."""
    costs = {deed: price(deed, small.profile) for deed in (*small.cures, *small.tests)}

    def weights(tries: tuple[int, ...], answers: tuple[int, ...]) -> Weights:
        found = small.priors
        for (mends, fails), count in zip(small.cures.values(), tries, strict=True):
            found = _after(found, mends, fails**count)
        for no, answer in zip(small.tests.values(), answers, strict=True):
            if answer >= 0:
                found = _split(found, no)[answer]
        return found

    @cache
    def least(tries: tuple[int, ...], answers: tuple[int, ...]) -> float:
        left = sum(weights(tries, answers))
        best = left * small.gap
        for number, deed in enumerate(small.cures):
            if tries[number] < _TRIES:
                more = (*tries[:number], tries[number] + 1, *tries[number + 1 :])
                best = min(best, left * costs[deed] + least(more, answers))
        for number, deed in enumerate(small.tests):
            if answers[number] < 0:
                both = ((*answers[:number], answer, *answers[number + 1 :]) for answer in (0, 1))
                best = min(best, left * costs[deed] + sum(least(tries, each) for each in both))
        return best

    return least((0,) * len(small.cures), (-1,) * len(small.tests)) / sum(small.priors)


def followed(small: Small, policy: Policy) -> float:
    """What a policy costs on the average, every outcome followed to its end."""
    engine = Engine(profile=small.profile, carriers={})
    begun = Bench(engine=engine, history=(Seen(devices=(("sound", "absent"),)),))
    return _cost(small, policy, begun, small.priors) / sum(small.priors)


def _cost(small: Small, policy: Policy, bench: Bench, weights: Weights) -> float:
    left = sum(weights)
    goes_on = left > _TOO_SMALL * sum(small.priors) and len(bench.tried) < _MOST_DEEDS
    deed = policy(bench) if goes_on else None
    if deed is None:
        return left * small.gap
    own = left * price(deed, small.profile)
    if deed not in small.tests:  # a cure, or what changes nothing here: leaving it without power, another capture
        after = _after(weights, *small.cures.get(deed, ((), 1.0)))
        return own + _cost(small, policy, _stepped(bench, deed), after)
    both = zip((True, False), _split(weights, small.tests[deed]), strict=True)
    return own + sum(_cost(small, policy, _answered(bench, deed, yes=yes), part) for yes, part in both)


def _stepped(bench: Bench, deed: Deed) -> Bench:
    """The device is absent still; an answer that the step bears on is void, and in these problems not had again."""
    void = _VOID.get(deed, ())
    answers = tuple(each for each in bench.seen.answers if each[0] not in void)
    step = "" if deed[0] == "repeat" else deed[0]
    seen = Seen(devices=bench.seen.devices, answers=answers, step=step, of=deed[1])
    return replace(bench, history=(*bench.history, seen), tried=[*bench.tried, deed])


_VOID = {("fit", "near-board"): ("near-test", f"{MEASURE}rail"), ("fit", "far-board"): ("far-test",)}


def _answered(bench: Bench, deed: Deed, *, yes: bool) -> Bench:
    id_ = f"{MEASURE}{deed[1]}" if deed[0] == "measure" else deed[1]
    seen = replace(bench.seen, answers=(*bench.seen.answers, (id_, yes)))
    return replace(
        bench,
        history=(*bench.history[:-1], seen),
        tried=[*bench.tried, deed],
        never_again=(*bench.never_again, f"{deed[0]}:{deed[1]}"),
    )

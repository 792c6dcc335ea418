"""Whether a shop's closed cases help: how well suspects fit fresh units, with priors learnt and with elicited ones.

Run: ``python -m benchmarks.learnt_rates``, some two minutes. Invented units of the simulator's layouts
(``benchmarks.bench_simulator``) fail at rates of their own, cases are closed one after another, and what is said of
fresh units after their first capture is scored. The peer is the engine without cases: every figure of a loss is a
ratio to it, below 1 where learning helps. "The true rates" is the best that any learning of priors could reach.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import log

from benchmarks.bench_simulator.anatomy import Anatomy, Mode
from benchmarks.bench_simulator.engine import Engine, Seen
from benchmarks.bench_simulator.layouts import LAYOUTS
from benchmarks.bench_simulator.scoring import Claim, calibration_error
from benchmarks.bench_simulator.tables import matched
from benchmarks.bench_simulator.unit import Unit, draw
from usbwatch.localise import classes_of
from usbwatch.localise.rates import units_per_case
from usbwatch.localise.ways import ways
from usbwatch.model import Experience, Profile, Tally

MODELS, SEEDS, FRESH = ("one-piece-top-case", "ps2-keyboard-i2c-touchpad"), (1, 2, 3), 200
OWN, OTHERS = (10, 30, 100, 300), 100
MOST, LEAST_SAID = 0.3, 1e-9
MANY = 10**9
"""Cases after which nothing of the starting values is left."""

_KINDS = {"torn": "broken", "soaked": "whole", "strange": "unknown"}
"""Where the simulator has another word for a kind of failure than the engine."""

Case = tuple[str, ...]
"""Ids of the sites that were the cause."""


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """How far the rates of failure are from the elicited ones."""

    name: str
    class_by: float = 1.0
    """Each class of sites fails up to so many times more or less often than elicited, in all models."""
    site_by: float = 1.0
    """Each site of each model does, by itself."""
    all_found: bool = True
    """Whether a closed case names every fault that any device or hand check can show, or only what the capture did."""


WORLDS = (
    World(name="elicited rates are right"),
    World(name="each site of a model off by up to 3", site_by=3.0),
    World(name="each class off by up to 3, in all models", class_by=3.0),
    World(name="elicited rates are right; only what the capture showed is ever found", all_found=False),
)


def main() -> None:
    """Print a table for each world."""
    for world in WORLDS:
        print(f"\n{world.name}\n\n| priors | log-loss to that with elicited | first suspect right | said | off by |")
        print("| --- | --- | --- | --- | --- |")
        scores: dict[str, list[Score]] = {}
        for seed in SEEDS:
            for model in MODELS:
                for label, score in scored(world, model, seed):
                    scores.setdefault(label, []).append(score)
        usual = sum(score.loss for score in scores["elicited"])
        for label, found in scores.items():
            first = [claim for score in found for claim in score.first]
            right, said = (sum(each) / len(first) for each in zip(*((c.so, c.said) for c in first), strict=True))
            ratio = sum(score.loss for score in found) / usual
            print(f"| {label} | {ratio:.3f} | {right:.3f} | {said:.3f} | {calibration_error(first):.3f} |")


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What was said of the fresh units, against what they had."""

    loss: float
    """Sum over units and parts of the logarithmic loss, in nats."""
    first: list[Claim]


def scored(world: World, model: str, seed: int) -> Iterator[tuple[str, Score]]:
    """By what the priors rest on, how well they fit the fresh units of one model."""
    anatomy = _anatomy(world, model, seed)
    fresh = [draw(anatomy, f"{seed} fresh {number}") for number in range(FRESH)]
    own = _closed(world, anatomy, max(OWN), f"{seed} {model}")
    others = [
        (LAYOUTS[other].profile, _closed(world, _anatomy(world, other, seed), OTHERS, f"{seed} {other}"))
        for other in LAYOUTS
        if other != model
    ]
    yield "elicited", _score(anatomy, Experience(), fresh)
    for count in OWN:
        yield f"{count} cases of the model", _score(anatomy, _experience(own[:count]), fresh)
    count = OTHERS * len(others)
    yield f"{count} cases of {len(others)} other models", _score(anatomy, _experience((), others), fresh)
    yield f"{count} of others and 100 of the model", _score(anatomy, _experience(own[:100], others), fresh)
    yield "the true rates", _score(anatomy, _truth(anatomy), fresh)


def _anatomy(world: World, model: str, seed: int) -> Anatomy:
    layout = LAYOUTS[model]
    anatomy = Anatomy.of(layout.profile, layout.often_unseen, matched(), seed)
    classes = classes_of(layout.profile)
    return replace(anatomy, modes=tuple(_departed(mode, classes, world, f"{seed} {model}") for mode in anatomy.modes))


def _departed(mode: Mode, classes: dict[str, str], world: World, model: str) -> Mode:
    """The mode with the rate that it has in this world; nobody learns of what the profile does not know."""
    if mode.kind == "strange":
        return mode
    seed, site = model.split(maxsplit=1)[0], _site(mode)
    factor = _between(f"{seed} {classes[site]}", world.class_by) * _between(f"{model} {site}", world.site_by)
    return replace(mode, prior=min(MOST, mode.prior * factor))


def _between(seed: str, most: float) -> float:
    return float(most ** random.Random(seed).uniform(-1, 1))


def _site(mode: Mode) -> str:
    return f"{_KINDS.get(mode.kind, mode.kind)}:{mode.of}"


def _closed(world: World, anatomy: Anatomy, count: int, seed: str) -> list[Case]:
    """Cases with a known cause, one after another."""
    found: list[Case] = []
    number = 0
    while len(found) < count:
        number += 1
        case = _all_found(anatomy, f"{seed} {number}") if world.all_found else _as_shown(anatomy, f"{seed} {number}")
        found += [case] if case else []
    return found


def _all_found(anatomy: Anatomy, seed: str) -> Case:
    """Every fault of a unit that by itself makes some device or hand check come out wrong."""
    chance = random.Random(seed)
    faults = [number for number, mode in enumerate(anatomy.modes) if chance.random() < mode.prior]
    known = (number for number in faults if anatomy.modes[number].kind != "strange")
    return tuple(_site(anatomy.modes[number]) for number in known if _shows(anatomy, number, chance))


def _shows(anatomy: Anatomy, fault: int, chance: random.Random) -> bool:
    alone = Unit(anatomy=anatomy, chance=chance, faults={fault}, unseen=set())
    alone.look()
    for check in anatomy.profile.checks:
        alone.answer(check.id)
    return bool(alone.complained)


def _as_shown(anatomy: Anatomy, seed: str) -> Case:
    """Only the faults that decided what was wrong in the capture with which the unit came."""
    unit = draw(anatomy, seed)
    showed = sorted({number for (number, _), outcome in unit.shows.items() if outcome != "works"})
    return tuple(_site(anatomy.modes[number]) for number in showed if anatomy.modes[number].kind != "strange")


def _experience(own: Sequence[Case], others: Sequence[tuple[Profile, Sequence[Case]]] = ()) -> Experience:
    failed: Counter[str] = Counter()
    exposed: Counter[str] = Counter()
    for profile, cases in others:
        classes = classes_of(profile)
        for class_ in classes.values():
            exposed[class_] += len(cases)
        failed.update(classes[site] for case in cases for site in case)
    return Experience(
        cases=sum(len(cases) for _, cases in others),
        classes={class_: Tally(failed=failed[class_], exposed=count) for class_, count in exposed.items()},
        own=len(own),
        sites=dict(Counter(site for case in own for site in case)),
    )


def _truth(anatomy: Anatomy) -> Experience:
    """So many cases that the priors are the rates by which the units fail."""
    units = units_per_case(ways(anatomy.profile)) * MANY
    return Experience(own=MANY, sites={_site(mode): round(mode.prior * units) for mode in anatomy.modes})


def _score(anatomy: Anatomy, experience: Experience, units: Sequence[Unit]) -> Score:
    engine = Engine(profile=anatomy.profile, carriers=anatomy.carriers, experience=experience)
    loss = 0.0
    first = []
    for number, unit in enumerate(units):
        faulty = unit.faulty_parts()
        said = engine.ranking((Seen(devices=tuple(unit.first.items())),)).parts
        first.append(Claim(said[0][1], said[0][0] in faulty, f"{anatomy.profile.id} {number}"))
        for part, chance in said:
            of_truth = chance if part in faulty else 1 - chance
            loss -= log(max(LEAST_SAID, of_truth))
    return Score(loss=loss, first=first)


if __name__ == "__main__":
    main()

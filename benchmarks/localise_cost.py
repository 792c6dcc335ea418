"""What localising and planning cost at the size of a whole laptop, against a general inference library in the same run.

Run: ``python benchmarks/localise_cost.py``. The model is invented: 60 parts with 112 ways to fail between them and 40
observations, of which four to eight are found wrong. Sets of at most two faults, sets of at most three, exact marginals
of all faults over sets of any size, and the same marginals by pyAgrum (a development dependency; exact inference by
lazy propagation, in C++, on the same model as a Bayesian network) take turns, round by round, so that a busy machine
slows all alike. Then the next step is chosen for an invented unit of as many parts, among 40 candidates and more, and
the growth from 20 to 200 parts is shown. Median CPU time of each; whether a bar is met is printed, and nothing is
asserted.
"""

from __future__ import annotations

import statistics
import time
import warnings
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import TYPE_CHECKING

from usbwatch.localise import Beliefs, believe
from usbwatch.localise.every_set import EverySet
from usbwatch.localise.weighing import Fault, Hazard, Observation, log_weights
from usbwatch.model import (
    ExpectedDevice,
    Finding,
    Findings,
    HandCheck,
    Look,
    Money,
    Part,
    PartKind,
    Profile,
    Rung,
    Symptom,
    Verdict,
)
from usbwatch.plan import plan
from usbwatch.plan.candidates import candidates
from usbwatch.plan.money import prices
from usbwatch.plan.standing import standing

if TYPE_CHECKING:
    from usbwatch.localise.weighing import Numbers

__all__ = ["main"]

ROUNDS = 15
FAULTS_PER_PART = 112 / 60
OBSERVATIONS_PER_PART = 40 / 60
BARS_MS = {"sets of two": 2.0, "sets of three": 60.0, "next step": 50.0}
LEAST_RATIO = 50.0
"""All marginals are to be had so many times faster than by the general library."""


def main() -> None:
    """Print the figures."""
    print("60 parts, 112 faults, 40 observations; median CPU milliseconds\n")
    _inference()
    print("\nNext step, from what was found to the proposals:\n")
    _planning()
    print("\nGrowth, six observations wrong:\n")
    _growth()


def _inference() -> None:
    print("| wrong | sets of two | sets of three | all marginals, exact | general library | library / ours | |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for wrong in (4, 5, 6, 7, 8):
        faults, seen = model(60, wrong)
        cost = cpu_ms(
            {
                "two": lambda f=faults, s=seen: posterior(f, s, 2),  # type: ignore[misc]
                "three": lambda f=faults, s=seen: posterior(f, s, 3),  # type: ignore[misc]
                "ours": lambda f=faults, s=seen: marginals(f, s),  # type: ignore[misc]
                "library": lambda f=faults, s=seen: library_marginals(f, s),  # type: ignore[misc]
            }
        )
        ratio = cost["library"] / cost["ours"]
        met = cost["two"] <= BARS_MS["sets of two"] and cost["three"] <= BARS_MS["sets of three"]
        words = f"times {'met' if met else 'not met'}, ratio {'met' if ratio >= LEAST_RATIO else 'not met'}"
        figures = " | ".join(f"{cost[name]:.2f}" for name in ("two", "three", "ours", "library"))
        print(f"| {wrong} | {figures} | {ratio:.0f} | {words} |")


def _planning() -> None:
    print("| parts | ways to fail | wrong | candidates | believe | plan | |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for wrong in (1, 4, 5, 6, 8):  # from four on each is a loss of its own: as many faults at once
        profile = laptop(60)
        findings = lost(profile, wrong)
        held: list[Beliefs] = [believe(profile, (Look(findings=findings),))]
        cost = cpu_ms(
            {
                "believe": lambda p=profile, f=findings: believe(p, (Look(findings=f),)),  # type: ignore[misc]
                "plan": lambda b=held, f=findings: plan(b[0], f),  # type: ignore[misc]
            }
        )
        count = len(list(candidates(held[0], findings, standing(held[0]), prices(profile))))
        met = "met" if cost["plan"] <= BARS_MS["next step"] else "not met"
        sites = len(held[0].layout.sites)
        cells = (len(profile.parts), sites, wrong, count, f"{cost['believe']:.1f}", f"{cost['plan']:.1f}", met)
        print("| " + " | ".join(map(str, cells)) + " |")


def _growth() -> None:
    print("| parts | faults | observations | sets of two | sets of three | all marginals, exact | general library |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for parts in (20, 60, 100, 200):
        faults, seen = model(parts, 6)
        cost = cpu_ms(
            {
                "two": lambda f=faults, s=seen: posterior(f, s, 2),  # type: ignore[misc]
                "three": lambda f=faults, s=seen: posterior(f, s, 3),  # type: ignore[misc]
                "ours": lambda f=faults, s=seen: marginals(f, s),  # type: ignore[misc]
                "library": lambda f=faults, s=seen: library_marginals(f, s),  # type: ignore[misc]
            },
            rounds=3,
        )
        print(
            f"| {parts} | {len(faults)} | {len(seen)} | " + " | ".join(f"{each:.2f}" for each in cost.values()) + " |"
        )


def cpu_ms(works: Mapping[str, Callable[[], object]], rounds: int = ROUNDS) -> dict[str, float]:
    """Median CPU milliseconds of each, all of them in turn in every round, each run once before it is timed."""
    taken: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            work()
            begun = time.process_time()
            work()
            taken[name].append(time.process_time() - begun)
    return {name: 1000 * statistics.median(each) for name, each in taken.items()}


def model(parts: int, wrong: int) -> tuple[list[Fault], list[Observation]]:
    """An invented model of so many parts, wired as laptops are.

    Every five observations share four faults (a section, a supply, a link in two ways); each has two of its own, and
    hangs on the section of the group before as well.
    """
    random = Random(parts * 1000 + wrong)
    count, shown = round(parts * FAULTS_PER_PART), round(parts * OBSERVATIONS_PER_PART)
    faults = [Fault(site=number, odds=10 ** random.uniform(-3, -1.5)) for number in range(count)]
    groups = -(-shown // 5)
    shared = count - 2 * shown
    found = []
    for number in range(shown):
        group = number // 5
        trunk = sorted({each % shared for each in (4 * (group - 1) % (4 * groups), *range(4 * group, 4 * group + 4))})
        own = (shared + 2 * number, shared + 2 * number + 1)
        # What is wrong lies in two groups and a bit, as after one or two faults.
        found.append(_observation(random, f"o{number}", (*trunk, *own), wrong=number < wrong))
    return faults, found


def _observation(random: Random, name: str, path: Sequence[int], *, wrong: bool) -> Observation:
    hazards = []
    for fault in path:
        passes = random.choice((0.0001, 0.01, 0.05, 0.3))
        shows = (1 - passes) * random.choice((0.05, 0.9)) if wrong else 0.0
        hazards.append(Hazard(fault=fault, passes=passes, shows=shows))
    return Observation(id=name, wrong=wrong, clean=2e-5 if wrong else 0.9999, hazards=tuple(hazards))


def posterior(faults: Sequence[Fault], seen: Sequence[Observation], depth: int) -> list[Numbers]:
    """Ours, from the numbers to the probability of every set of at most so many faults, among these sets."""
    import numpy as np

    weights = [logs for _, logs in log_weights(faults, seen, depth)]
    highest = max(float(logs.max()) for logs in weights)
    chances = [np.exp(logs - highest) for logs in weights]
    whole = sum(float(each.sum()) for each in chances)
    return [each / whole for each in chances]


def marginals(faults: Sequence[Fault], seen: Sequence[Observation]) -> list[float]:
    """Ours, from the numbers to the probability of every fault."""
    sums = EverySet.of(faults, seen)
    return sums.marginals() if sums is not None else []


def library_marginals(faults: Sequence[Fault], seen: Sequence[Observation]) -> list[float]:
    """By the general library, from the numbers to the probability of every fault."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pyagrum

    net = pyagrum.BayesNet()
    for number, fault in enumerate(faults):
        net.add(pyagrum.LabelizedVariable(f"f{number}", "", 2))
        net.cpt(f"f{number}")[:] = [1 / (1 + fault.odds), fault.odds / (1 + fault.odds)]
    for observation in seen:
        _add(net, pyagrum.LabelizedVariable, observation)
    engine = pyagrum.LazyPropagation(net)
    engine.setEvidence({observation.id: 1 for observation in seen})
    engine.makeInference()
    return [float(engine.posterior(f"f{number}")[1]) for number in range(len(faults))]


def _add(net: object, variable: Callable[..., object], observation: Observation) -> None:
    """A chain of nodes that walks the path: open, what was observed has shown, or something else has."""
    before = ""
    for step, hazard in enumerate(observation.hazards):
        node = f"{observation.id}h{step}"
        net.add(variable(node, "", 3))  # type: ignore[attr-defined]
        net.addArc(f"f{hazard.fault}", node)  # type: ignore[attr-defined]
        if before:
            net.addArc(before, node)  # type: ignore[attr-defined]
        act = [hazard.passes, hazard.shows, 1 - hazard.passes - hazard.shows]
        for came in range(3) if before else (0,):
            stay = [float(each == came) for each in range(3)]
            for acts in (0, 1):
                given = {f"f{hazard.fault}": acts} | ({before: came} if before else {})
                net.cpt(node)[given] = act if acts and came == 0 else stay  # type: ignore[attr-defined]
        before = node
    net.add(variable(observation.id, "", 2))  # type: ignore[attr-defined]
    net.addArc(before, observation.id)  # type: ignore[attr-defined]
    for came, happens in enumerate((observation.clean, 1.0, 0.0)):
        net.cpt(observation.id)[{before: came}] = [1 - happens, happens]  # type: ignore[attr-defined]


def laptop(parts: int) -> Profile:
    """An invented unit of so many parts, with two devices for every three of them, and six hand checks."""
    boards = parts // 8
    found = [Part(id="mainboard", kind=PartKind.SUBASSEMBLY, name="mainboard", cost=180, minutes=70)]
    found += [
        Part(id=f"board-{n}", kind=PartKind.SUBASSEMBLY, name=f"board {n}", cost=30 + 10 * n, minutes=30)
        for n in range(boards)
    ]
    found += [
        Part(
            id=f"link-{n}", kind=PartKind.LINK, name=f"link {n}", joins=("mainboard", f"board-{n}"), cost=8, minutes=15
        )
        for n in range(boards)
    ]
    lines = parts - len(found)
    found += [
        Part(id=f"line-{n}", kind=PartKind.RAIL if n % 2 else PartKind.SECTION, name=f"line {n}", within="mainboard")
        for n in range(lines)
    ]
    devices = tuple(
        ExpectedDevice(
            id=f"device-{n}",
            name=f"device {n}",
            function=("keyboard", "battery", "camera", "audio")[n % 4],
            within=f"board-{n % boards}",
            needs=(f"line-{n % lines}", f"line-{7 * n % lines}", f"link-{n % boards}"),
        )
        for n in range(round(parts * OBSERVATIONS_PER_PART) - 6)
    )
    checks = tuple(HandCheck(id=f"check-{n}", question=f"check {n}?", needs=(f"device-{n}",)) for n in range(6))
    return Profile(
        id="invented",
        name="invented",
        source="invented",
        parts=tuple(found),
        devices=devices,
        checks=checks,
        money=Money(currency="EUR", value_working=600, value_as_is=150, hourly_rate=36),
    )


def lost(profile: Profile, wrong: int) -> Findings:
    """Findings in which devices of several boards are absent, and some are not seen."""
    absent = {device.id for device in profile.devices[:wrong]}
    unseen = {device.id for device in profile.devices[wrong : wrong + 4]}
    return Findings(
        profile=profile.id,
        findings=tuple(_finding(device.id, device.id in absent, device.id in unseen) for device in profile.devices),
    )


def _finding(device: str, absent: bool, unseen: bool) -> Finding:
    verdict, rung, symptom = Verdict.PRESENT, Rung.WORKING, Symptom.WORKING
    if absent:
        verdict, rung, symptom = Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT
    elif unseen:
        verdict, rung, symptom = Verdict.UNSEEN, Rung.ABSENT, Symptom.UNSEEN
    return Finding(device=device, verdict=verdict, rung=rung, symptom=symptom, reasons=())


if __name__ == "__main__":
    main()

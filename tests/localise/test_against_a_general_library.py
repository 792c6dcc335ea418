"""Marginals against a general inference library, which knows nothing of fault sets, paths or laptops.

pyAgrum (test-only) is given the same model as an ordinary Bayesian network:
a node per site with its courses as states, and per observation a chain of
nodes that walks its path, host side first: *open* while every fault so far
has let it pass, *shown* once one has not. Its exact inference (Lazy
propagation; Madsen & Jensen 1999) shares no code and no method with ours.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from random import Random

import pytest
from support.needs import needed_library
from support.wired import HERON, LARCH, found

from usbwatch.localise import believe
from usbwatch.localise.every_set import EverySet
from usbwatch.localise.weighing import Fault, Hazard, Observation, log_weights
from usbwatch.model import Findings, Look, Profile, Step, StepKind, Symptom, Watched

needed_library("gomp", "libgomp1")  # pyAgrum is linked to it

with warnings.catch_warnings():
    # Its generated types warn as they are made, and where a warning is an error the interpreter goes down with it.
    warnings.simplefilter("ignore")
    import pyagrum as agrum

TOLERANCE = 1e-9


def marginals_of_library(faults: Sequence[Fault], seen: Sequence[Observation]) -> list[float]:
    """Probability of each fault given what was seen, by the library."""
    net = agrum.BayesNet()
    courses: dict[int, list[int]] = {}
    for number, fault in enumerate(faults):
        courses.setdefault(fault.site, []).append(number)
    for site, own in courses.items():
        net.add(agrum.LabelizedVariable(f"s{site}", "", 1 + len(own)))
        whole = 1 + sum(faults[number].odds for number in own)
        net.cpt(f"s{site}")[:] = [1 / whole, *(faults[number].odds / whole for number in own)]
    evidence: dict[str, int] = {}
    for place, observation in enumerate(seen):
        evidence |= _chain(net, f"o{place}", observation, faults, courses)
    engine = agrum.LazyPropagation(net)
    engine.setEvidence(evidence)
    engine.makeInference()
    return [
        float(engine.posterior(f"s{fault.site}")[1 + courses[fault.site].index(number)])
        for number, fault in enumerate(faults)
    ]


def _chain(
    net: agrum.BayesNet, name: str, observation: Observation, faults: Sequence[Fault], courses: dict[int, list[int]]
) -> dict[str, int]:
    """The nodes of one observation: still open (0), shown what was observed (1), or shown something else (2)."""
    of_site: dict[int, list[Hazard]] = {}
    for hazard in observation.hazards:
        of_site.setdefault(faults[hazard.fault].site, []).append(hazard)
    before = ""
    for step, (site, hazards) in enumerate(of_site.items()):
        node = f"{name}h{step}"
        net.add(agrum.LabelizedVariable(node, "", 3))
        net.addArc(f"s{site}", node)
        if before:
            net.addArc(before, node)
        acting = {1 + courses[site].index(hazard.fault): hazard for hazard in hazards}
        for state, came in product(range(1 + len(courses[site])), range(3) if before else (0,)):
            act = acting.get(state)
            if came != 0 or act is None:
                row = [float(each == came) for each in range(3)]
            else:
                row = [act.passes, act.shows, 1 - act.passes - act.shows]
            net.cpt(node)[{f"s{site}": state} | ({before: came} if before else {})] = row
        before = node
    net.add(agrum.LabelizedVariable(name, "", 2))
    if not before:
        net.cpt(name)[:] = [1 - observation.clean, observation.clean]
        return {name: 1}
    net.addArc(before, name)
    for came, happens in enumerate((observation.clean, 1.0, 0.0)):
        net.cpt(name)[{before: came}] = [1 - happens, happens]
    return {name: 1}


def random_model(seed: int) -> tuple[list[Fault], list[Observation]]:
    """Up to 20 faults, some of one site, and up to seven observations on whose paths they stand in one order."""
    random = Random(seed)
    count = random.randint(8, 20)
    sites = sorted(random.randrange(count) for _ in range(count))
    faults = [Fault(site=site, odds=10 ** random.uniform(-3, -0.5)) for site in sites]
    return faults, [_random_observation(random, f"o{n}", count) for n in range(random.randint(2, 7))]


def _random_observation(random: Random, name: str, count: int) -> Observation:
    wrong = random.random() < 0.5
    hazards = []
    for fault in sorted(random.sample(range(count), random.randint(1, 6))):
        passes = random.uniform(0.001, 0.3)
        shows = (1 - passes) * random.choice((0.02, 0.4, 0.9)) if wrong else 0.0
        hazards.append(Hazard(fault=fault, passes=passes, shows=shows))
    clean = 10 ** random.uniform(-5, -2) if wrong else random.uniform(0.9, 0.9999)
    return Observation(id=name, wrong=wrong, clean=clean, hazards=tuple(hazards))


@pytest.mark.parametrize("seed", range(40))
def test_marginals_are_those_of_a_general_library(seed: int) -> None:
    faults, seen = random_model(seed)
    sums = EverySet.of(faults, seen)
    assert sums is not None
    assert sums.marginals() == pytest.approx(marginals_of_library(faults, seen), abs=TOLERANCE)


@pytest.mark.parametrize("depth", [1, 2, 3])
@pytest.mark.parametrize("seed", range(40, 55))
def test_explicit_sets_are_right_to_within_what_they_leave_out(seed: int, depth: int) -> None:
    import numpy as np

    faults, seen = random_model(seed)
    sums = EverySet.of(faults, seen)
    assert sums is not None
    rings = [(sets, np.exp(logs - sums.log_total())) for sets, logs in log_weights(faults, seen, depth)]
    left_out = 1 - sum(float(chances.sum()) for _, chances in rings)
    for number, truth in enumerate(marginals_of_library(faults, seen)):
        weighed = sum(float(chances[(sets == number).any(axis=1)].sum()) for sets, chances in rings)
        assert -TOLERANCE <= truth - weighed <= left_out + TOLERANCE


LOST = ("keyboard", "touchpad", "gauge")
RESEAT = Step(kind=StepKind.RESEAT, of="top-case-flex")
WATCHED = Watched(lasted_ms=240_000, tells=True)


def watched(findings: Findings, leaving: Sequence[str] = (), together: Sequence[str] = ()) -> Findings:
    """The same, all devices watched; some came and went, and of these some in the same moments."""
    told = []
    for one in findings.findings:
        others = tuple(each for each in together if each != one.device) if one.device in together else ()
        symptom = Symptom.INTERMITTENT if one.device in leaving else one.symptom
        how = replace(WATCHED, left=5 * (one.device in leaving), together=others)
        told.append(replace(one, symptom=symptom, watched=how))
    return replace(findings, findings=tuple(told))


BENCHES = [
    pytest.param(
        HERON,
        [
            Look(findings=found(HERON)),
            Look(findings=watched(found(HERON), LOST, LOST[:2])),
            Look(findings=watched(found(HERON)), steps=(RESEAT,)),
        ],
        id="heron, three come and go, two of them together, and stay after a reseat",
    ),
    pytest.param(HERON, [Look(findings=found(HERON))], id="heron, all well"),
    pytest.param(
        HERON, [Look(findings=found(HERON, absent=LOST, answers={"power-button": True}))], id="heron, three lost"
    ),
    pytest.param(LARCH, [Look(findings=found(LARCH, absent=["hub"], camera=Symptom.UNDRIVEN))], id="larch, hub lost"),
    pytest.param(
        HERON,
        [Look(findings=found(HERON, absent=LOST)), Look(findings=found(HERON, absent=["gauge"]), steps=(RESEAT,))],
        id="heron, before and after a reseat",
    ),
]


@pytest.mark.parametrize(("profile", "looks"), BENCHES)
def test_whole_units_have_the_marginals_of_a_general_library(profile: Profile, looks: list[Look]) -> None:
    beliefs = believe(profile, looks)
    theirs = marginals_of_library([course.fault for course in beliefs.courses], beliefs.evidence)
    assert beliefs.marginals == pytest.approx(theirs, abs=TOLERANCE)

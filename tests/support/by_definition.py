"""The localiser's model written as its definition: every one of 2^n fault sets, every outcome, plain products.

It takes the sites, the paths and the tables as given, and nothing else from
the rooms under test.
"""

from __future__ import annotations

from itertools import chain, combinations
from math import prod

from usbwatch.localise.paths import Layout
from usbwatch.localise.symptoms import WRONGLY_NO, Effect, row
from usbwatch.model import Findings, Symptom

__all__ = ["every_set", "outcome", "posterior_by_definition"]


def every_set(count: int) -> list[tuple[int, ...]]:
    """All subsets of ``count`` sites."""
    return list(chain.from_iterable(combinations(range(count), size) for size in range(count + 1)))


def outcome(layout: Layout, id_: str, function: str, faults: tuple[int, ...]) -> dict[Symptom, float]:
    """What one device or check shows under these faults: built from its far end towards the host.

    A fault shows its symptom, or lets through whatever lies beyond it.
    """
    beyond = dict(row(Effect.WORKS, function))
    if not function:  # a hand check: people say no for reasons of their own
        beyond |= dict.fromkeys(beyond, 0.0) | {Symptom.WORKING: 1 - WRONGLY_NO, Symptom.ABSENT: WRONGLY_NO}
    for step in reversed(layout.paths[id_]):
        if step.site in faults:
            own = row(step.effect, function)
            passing = own[Symptom.WORKING]
            beyond = {
                symptom: passing * beyond[symptom] + (own[symptom] if symptom is not Symptom.WORKING else 0.0)
                for symptom in beyond
            }
    return beyond


def posterior_by_definition(layout: Layout, findings: Findings) -> dict[tuple[int, ...], float]:
    """Probability of every fault set given the findings."""
    joint = {}
    for faults in every_set(len(layout.sites)):
        prior = prod(site.prior if number in faults else 1 - site.prior for number, site in enumerate(layout.sites))
        joint[faults] = prior * prod(_chances(layout, findings, faults))
    total = sum(joint.values())
    return {faults: weight / total for faults, weight in joint.items()}


def _chances(layout: Layout, findings: Findings, faults: tuple[int, ...]) -> list[float]:
    devices = {device.id: device for device in layout.profile.devices}
    chances = []
    for finding in findings.findings:
        device = devices[finding.device]
        silent = finding.symptom is Symptom.UNSEEN or finding.charged_to
        if not silent and not (device.optional and finding.symptom is Symptom.ABSENT):
            chances.append(outcome(layout, device.id, device.function, faults)[finding.symptom])
    for answer in findings.answers:
        yes = outcome(layout, answer.check, "", faults)[Symptom.WORKING]
        chances.append(yes if answer.yes else 1 - yes)
    return chances

"""How far wrong priors move a plan's expected cost: what a close call between going on and stopping rests on.

Run: ``python -m benchmarks.close_call``. Eleven invented units of the three demo models, each with something lost;
every prior is put too high or too low by a factor, by a coin for each, twelve times over; what the plan then expects
is compared with what it expects by the figures as they are. No peer: the figures are shares of what stopping loses.
"""

from __future__ import annotations

import math
import random
import statistics
from collections.abc import Mapping
from typing import TypeVar

from usbwatch.localise import believe, sites
from usbwatch.model import Finding, Findings, Look, Plan, Rung, Symptom, Verdict
from usbwatch.plan import plan
from usbwatch.profile import find

Key = TypeVar("Key")

FACTORS = (1.5, 2.0, 3.0)
ROUNDS, SEED, MOST = 12, 5, 0.3
LARCH, HERON, PLOVER = "fernhill-larch-13", "brackwell-heron-14", "ostrey-plover-12"
ABSENT, MUTE = Symptom.ABSENT, Symptom.MUTE
CASES: tuple[tuple[str, dict[str, Symptom]], ...] = (
    (LARCH, {"keyboard": ABSENT, "touchpad": ABSENT, "fingerprint-reader": ABSENT, "battery": MUTE}),
    (LARCH, {"battery": MUTE}),
    (LARCH, {"keyboard": ABSENT}),
    (LARCH, {"camera": ABSENT}),
    (LARCH, {"panel": ABSENT, "camera": ABSENT}),
    (HERON, {"touchpad": ABSENT}),
    (HERON, {"camera": ABSENT, "touchscreen": ABSENT}),
    (HERON, {"battery": MUTE}),
    (HERON, {"fingerprint-reader": ABSENT}),
    (PLOVER, {"keyboard": ABSENT, "touchpad": ABSENT}),
    (PLOVER, {"battery": MUTE}),
)


def main() -> None:
    """Print the table."""
    usual = [planned(*case) for case in CASES]
    print("| priors off by | median | 80 in 100 | 90 in 100 | go on or stop turned | plans |")
    print("| --- | --- | --- | --- | --- | --- |")
    coin, priors, dead = random.Random(SEED), dict(sites.PRIORS), dict(sites.DEAD_PRIORS)
    for factor in FACTORS:
        shifts: list[float] = []
        turned = 0
        for _ in range(ROUNDS):
            sites.PRIORS.update(shifted(priors, factor, coin))
            sites.DEAD_PRIORS.update(shifted(dead, factor, coin))
            for case, before in zip(CASES, usual, strict=True):
                after = planned(*case)
                shifts.append(abs(cost(after) - cost(before)) / lost(before))
                turned += after.advice is not before.advice
        sites.PRIORS.update(priors)
        sites.DEAD_PRIORS.update(dead)
        print(
            f"| {factor:g} | {statistics.median(shifts):.1%} | {share(shifts, 0.8):.1%} | {share(shifts, 0.9):.1%} |"
            f" {turned} | {len(shifts)} |"
        )


def shifted(right: Mapping[Key, float], factor: float, coin: random.Random) -> dict[Key, float]:
    """Every chance too high or too low by the factor."""
    return {key: min(MOST, chance * factor ** coin.choice((-1, 1))) for key, chance in right.items()}


def planned(model: str, wrong: dict[str, Symptom]) -> Plan:
    """The plan for a unit of the model with these devices lost or mute, and all others well."""
    profile = find(model)
    expected = [each.id for each in profile.devices if not each.optional]
    findings = Findings(
        profile=profile.id, findings=tuple(finding(each, wrong.get(each, Symptom.WORKING)) for each in expected)
    )
    return plan(believe(profile, (Look(findings=findings),)), findings)


def finding(device: str, symptom: Symptom) -> Finding:
    """What a capture says of one device."""
    verdict, rung = {
        Symptom.WORKING: (Verdict.PRESENT, Rung.WORKING),
        ABSENT: (Verdict.MISSING, Rung.ABSENT),
        MUTE: (Verdict.IMPAIRED, Rung.BOUND),
    }[symptom]
    return Finding(device=device, verdict=verdict, rung=rung, symptom=symptom, reasons=())


def cost(of: Plan) -> float:
    """What it expects to be spent to the end."""
    return of.expected_cost if of.expected_cost is not None else math.nan


def lost(of: Plan) -> float:
    """What stopping loses."""
    return of.given_up or math.nan


def share(values: list[float], part: float) -> float:
    """The value below which that part of them lies."""
    return sorted(values)[int(part * len(values))]


if __name__ == "__main__":
    main()

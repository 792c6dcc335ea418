"""How the next step is chosen: usbwatch's way, and the ways it is to be compared with."""

from __future__ import annotations

import random
from dataclasses import replace

from benchmarks.bench_simulator.bench import Bench, Deed, Policy, price
from benchmarks.bench_simulator.engine import Advised
from usbwatch.model.plan import Advice

__all__ = ["GUIDED", "OURS", "POLICIES", "SWAP_LIKELIEST"]

OURS = "expected total cost (ours)"

_SUSPECTED = 0.02
"""What is less probable than this nobody tries without figures."""

_MOST_TRIES = 2
"""A new part can be bad, and a connector can be missed; who has tried twice tries something else."""

_DEEDS = {"replace": "fit"}


def _plan(bench: Bench) -> Advised:
    return bench.engine.plan(bench.history, bench.since_change)


def ours(bench: Bench) -> Deed | None:
    """What ``plan`` puts first; given up when it says that nothing pays."""
    plan = _plan(bench)
    if bench.wrong:
        bench.engine.ranking(bench.history)  # what is suspected is judged afterwards: told while it is at hand
    if plan.advice not in (Advice.GO_ON, Advice.NOTHING_WRONG) or not plan.proposals:
        return None
    return plan.proposals[0].deed


def _pays(bench: Bench) -> bool:
    """The same stopping rule as ours has, so that only the choice is compared."""
    return bench.wrong and _plan(bench).advice is Advice.GO_ON


def _cures(bench: Bench) -> list[tuple[Deed, float]]:
    """Every cure with its probability, likeliest first; none a third time."""
    found = [((_DEEDS.get(how, how), of), chance) for (how, of), chance in bench.engine.ranking(bench.history).cures]
    return [(deed, chance) for deed, chance in found if bench.tried.count(deed) < _MOST_TRIES]


def swap_likeliest(bench: Bench) -> Deed | None:
    """Replace the likeliest part; when that is software, the likeliest cure of software."""
    if not _pays(bench):
        return None
    open_ones = [deed for deed, _ in _cures(bench)]
    for part, _ in bench.engine.ranking(bench.history).parts:
        fitting = ("fit", part)
        if part and bench.tried.count(fitting) < _MOST_TRIES:
            return fitting
        software = [deed for deed in open_ones if deed[0] in ("reload", "drain")]
        if not part and software:
            return software[0]
    return None


def likeliest_cure(bench: Bench) -> Deed | None:
    """The likeliest cure, whatever it costs."""
    return next((deed for deed, _ in _cures(bench)), None) if _pays(bench) else None


def chance_per_cost(bench: Bench) -> Deed | None:
    """The cure with the most probability for its money (p/c)."""
    if not _pays(bench):
        return None
    profile = bench.engine.profile
    worth = [(chance / price(deed, profile), deed) for deed, chance in _cures(bench)]
    return max(worth)[1] if worth else None


def information_per_cost(bench: Bench) -> Deed | None:
    """What is expected to tell most about which part has failed, for its money."""
    if not _pays(bench):
        return None
    profile = bench.engine.profile
    told = [(each.bits / price(each.deed, profile), each.deed) for each in _plan(bench).proposals]
    bits, best = max(told, default=(0.0, None))
    return best if bits > 0 else chance_per_cost(bench)


def cheapest(bench: Bench) -> Deed | None:
    """The cheapest cure of anything suspected that was not tried yet."""
    profile = bench.engine.profile
    return min(_untried(bench), key=lambda deed: price(deed, profile), default=None)


def at_random(bench: Bench) -> Deed | None:
    """Any cure of anything suspected that was not tried yet."""
    open_ones = _untried(bench)
    return random.Random(repr(bench.history)).choice(open_ones) if open_ones else None


def _untried(bench: Bench) -> list[Deed]:
    """Without figures people go by what is seen now, until they have tried all that costs less than the unit gains."""
    if not bench.wrong:
        return []
    money = bench.engine.profile.money
    gap = (money.value_working or 0) - (money.value_as_is or 0)
    now = replace(bench, history=(replace(bench.seen, step="", of=""),))
    return [
        deed
        for deed, chance in _cures(now)
        if chance >= _SUSPECTED and deed not in bench.tried and price(deed, bench.engine.profile) < gap
    ]


SWAP_LIKELIEST = "swap the likeliest part"

POLICIES: dict[str, Policy] = {
    OURS: ours,
    "information per cost": information_per_cost,
    "chance per cost (p/c)": chance_per_cost,
    "likeliest cure": likeliest_cure,
    SWAP_LIKELIEST: swap_likeliest,
    "swap the cheapest suspect": cheapest,
    "random suspect": at_random,
}

GUIDED = tuple(POLICIES)[:5]
"""Those that stop when nothing pays, so that they can be followed through every outcome of a small problem."""

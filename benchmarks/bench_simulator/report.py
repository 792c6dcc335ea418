"""The tables that a run comes to, and the bars it is held to; all worked out from the results, none typed in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, nan

from benchmarks.bench_simulator.policies import OURS, POLICIES, SWAP_LIKELIEST
from benchmarks.bench_simulator.scoring import Bin, Claim, Interval, Scores, bins, calibration_error, mean

__all__ = ["OPTIMUM", "PROBLEMS", "Bar", "bar_table", "bars", "costs", "optimum_bar", "rankings", "reduced_table"]

OPTIMUM, PROBLEMS = "optimum", "problems"
"""In the sums over small problems: the least cost that any policy can reach, and how many problems there were."""

_WELL_FILLED = 50
"""Cases from which on a tenth counts as well filled."""

_OPTIMAL, _CHEAPER, _MOST_ERROR, _FIRST, _AMONG_TWO, _MOST_OFF = 1.01, 0.9, 0.03, 0.84, 0.96, 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What the program is held to."""

    words: str
    reached: str
    met: bool


def costs(scores: Mapping[str, Scores]) -> Iterator[str]:
    """One table per layout: what each policy costs, on the same units."""
    for layout, own in scores.items():
        yield f"\n#### {layout} ({len(own.told)} units; told the faults: {mean(own.told).mean:.1f})\n"
        yield "| policy | mean cost | ours less this | parts | wrong parts | given up | faulty out | steps |"
        yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
        for policy, results in own.results.items():
            cost, gap, count = mean([each.total for each in results]), _ours_less(policy, own), len(results)
            cells = (
                policy,
                f"{cost.mean:.1f} ± {cost.half:.1f}",
                "" if policy == OURS else f"{gap.mean:+.1f} ± {gap.half:.1f}",
                f"{sum(each.bought for each in results) / count:.2f}",
                f"{sum(each.wrong_parts for each in results) / count:.2f}",
                f"{sum(each.given_up for each in results) / count:.3f}",
                f"{sum(each.sent_out_faulty for each in results) / count:.3f}",
                f"{sum(each.steps for each in results) / count:.1f}",
            )
            yield f"| {' | '.join(cells)} |"


def rankings(scores: Mapping[str, Scores]) -> Iterator[str]:
    """How good the first ranking is, and whether probabilities hold."""
    yield ""
    yield "| layout | top 1 | top 2 | top 1, links apart | top 2, links apart | Brier | error of first suspect |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for layout, own in [*scores.items(), ("all", _together(scores))]:
        cells = [layout, *(f"{_within(ranks, top):.3f}" for ranks in (own.ranks, own.part_ranks) for top in (1, 2))]
        cells += [f"{mean(own.squares).mean:.3f}", f"{calibration_error(own.first):.3f}"]
        yield f"| {' | '.join(cells)} |"
    own = _together(scores)
    for title, claims in (
        ("First suspect, first capture", own.first),
        ("Every part, first capture", own.every),
        ("First suspect, after steps", own.later),
        ("Every part, after steps", own.later_every),
    ):
        yield f"\n{title} (error {calibration_error(claims):.4f}, {len(claims)} claims):\n"
        yield from _calibration(claims)


def _together(scores: Mapping[str, Scores]) -> Scores:
    """All layouts as one."""
    found = Scores()
    for own in scores.values():
        found.add(own)
    return found


def _within(ranks: Sequence[int], top: int) -> float:
    return sum(0 < rank <= top for rank in ranks) / max(1, len(ranks))


def _calibration(claims: Sequence[Claim]) -> Iterator[str]:
    yield "| tenth | said | so | so less said | cases | units |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for each in bins(claims):
        gap = f"{each.so - each.said:+.3f} ± {each.half:.3f}"
        yield f"| {_tenth(each)} | {each.said:.3f} | {each.so:.3f} | {gap} | {each.cases} | {each.units} |"


def _tenth(each: Bin) -> str:
    return f"{each.tenth / 10:.1f} to {(each.tenth + 1) / 10:.1f}"


def reduced_table(sums: Mapping[str, float]) -> Iterator[str]:
    """Costs on the small problems against the optimum."""
    yield "\n| policy | times the optimum |"
    yield "| --- | --- |"
    for policy, cost in sums.items():
        if policy in POLICIES:
            yield f"| {policy} | {cost / sums[OPTIMUM]:.4f} |"


def bar_table(found: Sequence[Bar]) -> Iterator[str]:
    """Each bar, what was reached, and whether that meets it."""
    yield "\n| bar | reached | |"
    yield "| --- | --- | --- |"
    for each in found:
        yield f"| {each.words} | {each.reached} | {'met' if each.met else 'not met'} |"


def optimum_bar(sums: Mapping[str, float]) -> Bar:
    """How near our policy comes to the optimum."""
    ratio = sums[OURS] / sums[OPTIMUM] if sums.get(OPTIMUM) else nan
    words = f"within 1 % of the optimum on {sums.get(PROBLEMS, 0):.0f} small problems"
    return Bar(words=words, reached=f"{ratio:.4f} times the optimum", met=ratio <= _OPTIMAL)


def bars(scores: Mapping[str, Scores], *, priors_right: bool) -> Iterator[Bar]:
    """The bars of one world; probabilities and rankings are held to theirs where the priors are right."""
    own = _together(scores)
    yield _not_worse(scores)
    ours, swapping = _mean_cost(own, OURS), _mean_cost(own, SWAP_LIKELIEST)
    yield Bar(
        words="at least 10 % cheaper than swapping the likeliest part",
        reached=f"{100 * (1 - ours / swapping):.1f} % cheaper" if swapping else "nothing played",
        met=ours <= _CHEAPER * swapping and bool(own.told),
    )
    if priors_right:
        error = calibration_error(own.first) if own.first else inf
        words = "calibration error of the first suspect at most 0.03"
        yield Bar(words=words, reached=f"{error:.4f}", met=error <= _MOST_ERROR)
        for words, top, least in (
            ("the right subassembly first in 84 %", 1, _FIRST),
            ("the right subassembly among two in 96 %", 2, _AMONG_TWO),
        ):
            share = _within(own.ranks, top)
            yield Bar(words=words, reached=f"{100 * share:.1f} %", met=share >= least)
        yield from (_holds_after_steps(*each) for each in (("first suspect", own.later), ("part", own.later_every)))


def _holds_after_steps(what: str, claims: Sequence[Claim]) -> Bar:
    filled = [each for each in bins(claims) if each.cases >= _WELL_FILLED]
    worst = max(filled, key=lambda each: each.off, default=None)
    told = f"{worst.off:.3f} at {_tenth(worst)} ({worst.cases} cases)" if worst else "no tenth is well filled"
    return Bar(
        words=f"after steps, no well-filled tenth off by more than 0.08 ({what})",
        reached=told,
        met=worst is not None and worst.off <= _MOST_OFF,
    )


def _not_worse(scores: Mapping[str, Scores]) -> Bar:
    """Ours is worse where the whole 95 % interval of the paired difference of costs, unit by unit, lies above 0."""
    gaps = [
        (gap.mean - gap.half, gap, policy, layout)
        for layout, own in scores.items()
        for policy in own.results
        if policy != OURS
        for gap in [_ours_less(policy, own)]
    ]
    _, gap, policy, layout = max(gaps, default=(inf, Interval(mean=inf, half=inf), "none", "none"), key=lambda e: e[0])
    dearer = sum(each.mean > 0 for _, each, _, _ in gaps)
    surely = sum(least > 0 for least, *_ in gaps)
    told = f"surely dearer in {surely} of {len(gaps)} comparisons, dearer on the mean in {dearer}"
    at_most = f"; the worst {gap.mean:+.1f} ± {gap.half:.1f} against {policy} on {layout}"
    return Bar(
        words="not worse than any other policy on any layout", reached=told + at_most, met=surely == 0 and bool(gaps)
    )


def _ours_less(policy: str, own: Scores) -> Interval:
    """Ours less another policy, unit by unit."""
    pairs = zip(own.results[OURS], own.results[policy], strict=True)
    return mean([mine.total - its.total for mine, its in pairs])


def _mean_cost(scores: Scores, policy: str) -> float:
    return mean([each.total for each in scores.results.get(policy, ())]).mean

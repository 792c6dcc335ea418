"""The tables that a run prints, and the bars it is held to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import inf

from benchmarks.bench_simulator.policies import OURS, SWAP_LIKELIEST
from benchmarks.bench_simulator.scoring import Claim, Scores, bins, calibration_error, mean, worst_bin

__all__ = ["bars", "first_ranking", "policies", "reduced_table"]

_WELL_FILLED = 50
_OPTIMAL, _CHEAPER, _MOST_ERROR, _FIRST, _AMONG_TWO, _MOST_OFF = 1.01, 0.9, 0.03, 0.84, 0.96, 0.08


def policies(scores: Mapping[str, Scores]) -> Iterator[str]:
    """One table per layout: what each policy costs, on the same units."""
    for layout, own in scores.items():
        yield f"\n#### {layout} ({len(own.told)} units; told the faults: {mean(own.told).mean:.1f})\n"
        yield "| policy | mean cost | ours less this | parts | wrong parts | given up | faulty out | steps |"
        yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
        ours = own.results[OURS]
        for policy, results in own.results.items():
            cost = mean([each.total for each in results])
            gap = mean([mine.total - its.total for mine, its in zip(ours, results, strict=True)])
            count = len(results)
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


def first_ranking(scores: Mapping[str, Scores]) -> Iterator[str]:
    """How good the first ranking is, and whether probabilities hold."""
    yield ""
    yield "| layout | top 1 | top 2 | top 1, links apart | top 2, links apart | Brier | error of first suspect |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for layout, own in [*scores.items(), ("all", together(scores))]:
        cells = [layout, *(f"{_within(ranks, top):.3f}" for ranks in (own.ranks, own.part_ranks) for top in (1, 2))]
        cells += [f"{mean(own.squares).mean:.3f}", f"{calibration_error(own.first):.3f}"]
        yield f"| {' | '.join(cells)} |"
    own = together(scores)
    for title, claims in (
        ("First suspect, first capture", own.first),
        ("Every part, first capture", own.every),
        ("First suspect, after steps", own.later),
        ("Every part, after steps", own.later_every),
    ):
        yield f"\n{title}:\n"
        yield from _calibration(claims)


def together(scores: Mapping[str, Scores]) -> Scores:
    """All layouts as one."""
    found = Scores()
    for own in scores.values():
        found.add(own)
    return found


def _within(ranks: Sequence[int], top: int) -> float:
    return sum(0 < rank <= top for rank in ranks) / max(1, len(ranks))


def _calibration(claims: Sequence[Claim]) -> Iterator[str]:
    yield "| tenth | said | so | cases |"
    yield "| --- | --- | --- | --- |"
    for number, each in enumerate(bins(claims)):
        if each is not None:
            said, so, count = each
            yield f"| {number / 10:.1f} to {(number + 1) / 10:.1f} | {said:.3f} | {so:.3f} | {count} |"


def reduced_table(costs: Mapping[str, float], best: float) -> Iterator[str]:
    """Costs on the small problems against the optimum."""
    yield "\n| policy | times the optimum |"
    yield "| --- | --- |"
    for policy, cost in costs.items():
        yield f"| {policy} | {cost / best:.4f} |"


def bars(scores: Mapping[str, Scores], ratio_to_optimum: float) -> Iterator[str]:
    """Each bar, what was reached, and whether that meets it; for the world that the engine believes in."""
    own = together(scores)
    worst = max((_behind(each) for each in scores.values()), default=(inf, ""))
    ours, swapping = _mean_cost(own, OURS), _mean_cost(own, SWAP_LIKELIEST)
    top1, top2 = _within(own.ranks, 1), _within(own.ranks, 2)
    off = max(worst_bin(own.later, _WELL_FILLED), worst_bin(own.later_every, _WELL_FILLED))
    error = calibration_error(own.first)
    yield "\n| bar | reached | |"
    yield "| --- | --- | --- |"
    for words, reached, met in (
        ("within 1 % of the optimum on the small problems", f"{ratio_to_optimum:.4f}", ratio_to_optimum <= _OPTIMAL),
        ("not worse than any policy on any layout", f"{worst[0]:+.1f} at the least, to {worst[1]}", worst[0] <= 0),
        (
            "at least 10 % cheaper than swapping the likeliest part",
            f"{100 * (1 - ours / swapping):.1f} % cheaper",
            ours <= _CHEAPER * swapping,
        ),
        ("calibration error of the first suspect at most 0.03", f"{error:.4f}", error <= _MOST_ERROR),
        ("the right subassembly first in 84 %", f"{100 * top1:.1f} %", top1 >= _FIRST),
        ("the right subassembly among two in 96 %", f"{100 * top2:.1f} %", top2 >= _AMONG_TWO),
        ("after steps, no well-filled tenth off by more than 0.08", f"{off:.3f}", off <= _MOST_OFF),
    ):
        yield f"| {words} | {reached} | {'met' if met else 'not met'} |"


def _behind(scores: Scores) -> tuple[float, str]:
    """By how much ours is surely dearer than the policy it compares worst with: the interval's lower end."""
    ours = scores.results[OURS]
    found = []
    for policy, results in scores.results.items():
        if policy != OURS:
            gap = mean([mine.total - its.total for mine, its in zip(ours, results, strict=True)])
            found.append((gap.mean - gap.half, policy))
    return max(found)


def _mean_cost(scores: Scores, policy: str) -> float:
    return mean([each.total for each in scores.results[policy]]).mean

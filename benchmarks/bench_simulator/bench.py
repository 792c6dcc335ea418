"""A unit on the bench: a policy acts until the unit is whole, or given up, and every step is paid for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from benchmarks.bench_simulator.anatomy import MENDED_BY
from benchmarks.bench_simulator.engine import Engine, History, Seen
from benchmarks.bench_simulator.unit import Unit
from usbwatch.model import Profile

__all__ = ["Bench", "Deed", "Policy", "Result", "play", "price", "told"]

Deed = tuple[str, str]
"""What is done, in the words of ``usbwatch.model.plan.Action``, and to what."""

Policy = Callable[["Bench"], Deed | None]
"""None: no more is done; the unit is given out when nothing is seen wrong, and given up else."""

MEASURE = "measure:"
"""Begins the id of an answer that a meter gave."""

_VERIFY_MINUTES = 3
_MINUTES = {"reload": 10, "drain": 5, "measure": 10, "flex": 5, "look": 1, "helper": 5, "repeat": 0}
_MOST_STEPS = 12
"""After so many steps any policy gives up."""


@dataclass(slots=True, kw_only=True)
class Bench:
    """All that a policy may know of one unit; the truth is not in it."""

    engine: Engine
    history: History
    tried: list[Deed] = field(default_factory=list)
    never_again: tuple[str, ...] = ()
    """Ids of proposals that are not open to any policy."""

    @property
    def seen(self) -> Seen:
        """The last capture."""
        return self.history[-1]

    @property
    def wrong(self) -> bool:
        """Whether anything is seen to be wrong."""
        bad = any(outcome not in ("works", "unseen", "behind") for _, outcome in self.seen.devices)
        return bad or not all(yes for id_, yes in self.seen.answers if not id_.startswith(MEASURE))

    @property
    def since_change(self) -> tuple[str, ...]:
        """What was done since something was last changed, as ids of proposals: it would only show the same."""
        since: list[str] = []
        for what, of in self.tried:
            since = [*since, f"{what}:{of}"] if what in ("flex", "repeat", "measure", "check", "look") else []
        helped = [f"{what}:{of}" for what, of in self.tried if what == "helper"]  # no step makes another one of it
        return (*self.never_again, *helped, *since)


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What one unit cost under one policy."""

    total: float
    bought: int
    wrong_parts: int
    given_up: bool
    sent_out_faulty: bool
    steps: int
    histories: tuple[tuple[History, frozenset[str]], ...]
    """What was known at each decision, and which parts had a fault then."""


def price(deed: Deed, profile: Profile) -> float:
    """What a deed costs: part, and bench time with the capture that verifies it."""
    what, of = deed
    rate = (profile.money.hourly_rate or 0) / 60
    part = next((each for each in profile.parts if each.id == of), None)
    check = next((each for each in profile.checks if each.id == of), None)
    if what == "check" and check is not None:
        return check.minutes * rate
    if part is not None and what in ("reseat", "fit", "swap"):
        bought = part.cost or 0 if what == "fit" else 0
        return bought + ((part.minutes or 0) + _VERIFY_MINUTES) * rate
    verify = 0 if what in ("measure", "flex", "look", "helper") else _VERIFY_MINUTES
    return (_MINUTES[what] + verify) * rate


def play(unit: Unit, policy: Policy, engine: Engine) -> Result:
    """Let one policy repair one unit to the end."""
    profile = unit.anatomy.profile
    money = profile.money
    gap = (money.value_working or 0) - (money.value_as_is or 0)
    bench = Bench(engine=engine, history=(Seen(devices=tuple(unit.first.items())),))
    spent, bought, wrong_parts, given_up = 0.0, 0, 0, False
    told_at = []
    while True:
        if bench.wrong:
            told_at.append((bench.history, frozenset(unit.faulty_parts())))
        deed = policy(bench) if len(bench.tried) < _MOST_STEPS else None
        if deed is None:
            given_up = bench.wrong
            break
        spent += price(deed, profile)
        bench.tried.append(deed)
        in_vain = _do(deed, unit, bench)
        bought += deed[0] == "fit"
        wrong_parts += in_vain
    faulty = not given_up and unit.still_complains()
    return Result(
        total=spent + (gap if given_up or faulty else 0),
        bought=bought,
        wrong_parts=wrong_parts,
        given_up=given_up,
        sent_out_faulty=faulty,
        steps=len(bench.tried),
        histories=tuple(told_at),
    )


def _do(deed: Deed, unit: Unit, bench: Bench) -> bool:
    """Do it and note what is then seen; whether it was a part bought for nothing."""
    what, of = deed
    if what == "check":
        answers = (*bench.seen.answers, (of, unit.answer(of)))
        _note(bench, replace(bench.seen, answers=answers))
        return False
    if what == "measure":
        _note(bench, replace(bench.seen, answers=(*bench.seen.answers, (f"{MEASURE}{of}", unit.measure(of)))))
        return False
    if what == "look":
        devices = dict(bench.seen.devices) | {of: unit.look_at(of)}
        _note(bench, replace(bench.seen, devices=tuple(devices.items())))
        return False
    if what == "helper":
        helpers = (*bench.seen.helpers, of) if unit.helper(of) else bench.seen.helpers
        _note(bench, replace(bench.seen, helpers=helpers))
        return False
    in_vain = False
    borne: set[int] = set()
    if what == "fit":
        borne, in_vain = unit.fit(of)
    elif what == "reseat":
        borne = unit.reseat(of)
    elif what == "reload":
        borne = unit.reload(of)
    elif what == "drain":
        borne = unit.drain()
    elif what not in ("flex", "repeat"):
        raise ValueError(f"the simulator cannot {what}")
    unit.settle(borne)
    devices = unit.look(of if what == "flex" else "")
    step = "" if what == "repeat" else what
    answers = tuple(_answers_after(borne, unit, bench))
    bench.history = (*bench.history, Seen(devices=tuple(devices.items()), answers=answers, step=step, of=of))
    return in_vain


def _answers_after(borne: set[int], unit: Unit, bench: Bench) -> Iterator[tuple[str, bool]]:
    """What was asked already is asked again where the step bore on it; a reading of the meter is void then."""
    for id_, yes in bench.seen.answers:
        if id_.startswith(MEASURE):
            if not any(unit.anatomy.modes[number].of == id_.removeprefix(MEASURE) for number in borne):
                yield id_, yes
        elif borne & {number for number, _ in unit.anatomy.paths[id_]}:
            yield id_, unit.answer(id_)
        else:
            yield id_, yes


def _note(bench: Bench, seen: Seen) -> None:
    """A hand check or a look at one more device belongs to the capture before it."""
    bench.history = (*bench.history[:-1], seen)


def told(unit: Unit) -> float:
    """The cost when the faults are told: every cure once, or giving up."""
    profile = unit.anatomy.profile
    money = profile.money
    gap = float((money.value_working or 0) - (money.value_as_is or 0))
    causes = {
        number
        for id_ in unit.complained
        for number, shape in unit.anatomy.paths[id_]
        if number in unit.faults and unit.shows.get((number, id_), "works") != "works"
    }
    deeds = {_cure(unit, number) for number in causes}
    if None in deeds:
        return gap
    return min(gap, sum(price(deed, profile) for deed in deeds if deed is not None))


def _cure(unit: Unit, number: int) -> Deed | None:
    mode = unit.anatomy.modes[number]
    how = MENDED_BY.get(mode.kind, "fit")
    if not how:
        return None
    return how, {"fit": mode.part, "drain": ""}.get(how, mode.of)

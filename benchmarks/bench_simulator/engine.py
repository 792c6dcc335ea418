"""What usbwatch says of a unit's history, asked through its own interface and remembered by history."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from benchmarks.bench_simulator.tables import SAID
from usbwatch.localise import Beliefs, believe
from usbwatch.localise.beliefs import MOST_LOOKS
from usbwatch.model import (
    Answer,
    Experience,
    Finding,
    Findings,
    Kind,
    Look,
    Node,
    PartKind,
    Profile,
    Rung,
    Step,
    StepKind,
    Symptom,
    Verdict,
)
from usbwatch.model.plan import Advice
from usbwatch.plan import plan

__all__ = ["Advised", "Engine", "History", "Proposed", "Ranking", "Seen"]

_KEPT = 2

_SYMPTOMS = {
    "works": (Verdict.PRESENT, Rung.WORKING, Symptom.WORKING),
    "absent": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT),
    SAID: (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT),
    "failed": (Verdict.IMPAIRED, Rung.ATTACHED, Symptom.FAILED),
    "degraded": (Verdict.IMPAIRED, Rung.WORKING, Symptom.DEGRADED),
    "mute": (Verdict.IMPAIRED, Rung.BOUND, Symptom.MUTE),
    "undriven": (Verdict.IMPAIRED, Rung.CONFIGURED, Symptom.UNDRIVEN),
    "unseen": (Verdict.UNSEEN, Rung.ABSENT, Symptom.UNSEEN),
    "behind": (Verdict.UNSEEN, Rung.ABSENT, Symptom.UNSEEN),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One capture with its hand checks, and the step before it ("" for none)."""

    devices: tuple[tuple[str, str], ...]
    answers: tuple[tuple[str, bool], ...] = ()
    helpers: tuple[str, ...] = ()
    """Functions of helper devices that work in a socket."""
    step: str = ""
    of: str = ""


History = tuple[Seen, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranking:
    """Likeliest first, each with its probability."""

    parts: tuple[tuple[str, float], ...]
    assemblies: tuple[tuple[str, float], ...]
    """The same with each link counted to what it leads to."""
    cures: tuple[tuple[tuple[str, str], float], ...]
    """What is done, and to what."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """One thing that it proposes."""

    deed: tuple[str, str]
    bits: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advised:
    """What it advises."""

    advice: Advice
    proposals: tuple[Proposed, ...]
    """Best first."""


@dataclass(slots=True)
class Engine:
    """Asks usbwatch about units of one model; equal histories get the same answer, worked out once."""

    profile: Profile
    carriers: dict[str, str]
    experience: Experience | None = None
    """What closed cases come to for the model; None for the elicited priors."""
    _plans: dict[tuple[History, tuple[str, ...]], Advised] = field(default_factory=dict)
    _rankings: dict[History, Ranking] = field(default_factory=dict)
    _last: tuple[History, Beliefs, Findings] | None = None

    def plan(self, history: History, done: tuple[str, ...] = ()) -> Advised:
        """What it advises next; ``done`` are ids of proposals that are not to be made again."""
        if (history, done) not in self._plans:
            _, beliefs, findings = self._believed(history)
            told = plan(beliefs, findings, done=done)
            self._plans[history, done] = Advised(
                advice=told.advice,
                proposals=tuple(
                    Proposed(deed=(each.action.value, each.of), bits=each.information_bits) for each in told.proposals
                ),
            )
        return self._plans[history, done]

    def forget(self) -> None:
        """Drop what is known of long histories, which seldom come twice."""
        self._plans = {key: told for key, told in self._plans.items() if len(key[0]) <= _KEPT}
        self._rankings = {key: told for key, told in self._rankings.items() if len(key) <= _KEPT}

    def ranking(self, history: History) -> Ranking:
        """What it suspects."""
        if history not in self._rankings:
            self._rankings[history] = self._ranked(self._believed(history)[1])
        return self._rankings[history]

    def _believed(self, history: History) -> tuple[History, Beliefs, Findings]:
        if self._last is None or self._last[0] != history:
            looks = [
                Look(
                    findings=self._findings(seen),
                    steps=(Step(kind=StepKind(seen.step), of=seen.of),) if seen.step else (),
                )
                for seen in history
            ]
            self._last = (
                history,
                believe(self.profile, _shortened(looks), experience=self.experience),
                looks[-1].findings,
            )
        return self._last

    def _findings(self, seen: Seen) -> Findings:
        return Findings(
            profile=self.profile.id,
            findings=tuple(
                Finding(
                    device=id_,
                    verdict=_SYMPTOMS[outcome][0],
                    rung=_SYMPTOMS[outcome][1],
                    symptom=_SYMPTOMS[outcome][2],
                    reasons=(),
                    software="it may be switched off" if outcome == SAID else "",
                    charged_to=self.carriers[id_] if outcome == "behind" else "",
                )
                for id_, outcome in seen.devices
            ),
            answers=tuple(Answer(check=check, yes=yes) for check, yes in seen.answers),
            external=tuple(_helper(function) for function in seen.helpers),
        )

    def _ranked(self, beliefs: Beliefs) -> Ranking:
        far = {part.id: part.joins[1] for part in self.profile.parts if part.kind is PartKind.LINK}
        parts: Groups = {}
        assemblies: Groups = {}
        cures: Groups = {}
        for number, course in enumerate(beliefs.courses):
            site = beliefs.layout.sites[course.site]
            if course.lasts and site.cure is not None:
                parts.setdefault((site.part,), []).append(number)
                assemblies.setdefault((far.get(site.part, site.part),), []).append(number)
                cures.setdefault((site.cure.kind.value, site.cure.of), []).append(number)
        ranked = _likeliest(beliefs, parts, assemblies, cures)
        return Ranking(
            parts=tuple((name[0], chance) for name, chance in ranked[0]),
            assemblies=tuple((name[0], chance) for name, chance in ranked[1]),
            cures=tuple(((name[0], name[1]), chance) for name, chance in ranked[2]),
        )


def _helper(function: str) -> Node:
    return Node(bus="usb", location="usb2/1", kind=Kind.DEVICE, rung=Rung.WORKING, functions=(function,))


Groups = dict[tuple[str, ...], list[int]]
"""Courses by what they are counted to."""

_ENOUGH = 6
"""So many of each kind are reckoned exactly; the rest, far less likely, by the sum of their courses."""


def _likeliest(beliefs: Beliefs, *kinds: Groups) -> list[list[tuple[tuple[str, ...], float]]]:
    bounds = [
        {name: sum(beliefs.marginals[number] for number in own) for name, own in groups.items()} for groups in kinds
    ]
    shortlists = [sorted(each, key=lambda name, each=each: -each[name])[:_ENOUGH] for each in bounds]  # type: ignore[misc]
    asked = [groups[name] for groups, names in zip(kinds, shortlists, strict=True) for name in names]
    exact = iter(beliefs.shares(asked))
    found = []
    for bound, names in zip(bounds, shortlists, strict=True):
        chances = bound | {name: next(exact).any for name in names}
        found.append(sorted(chances.items(), key=lambda each: -each[1]))
    return found


def _shortened(looks: list[Look]) -> list[Look]:
    """The first look and the latest ones, as many as the engine weighs together; no step between them is lost."""
    while len(looks) > MOST_LOOKS:
        left_out, following = looks[1], looks[2]
        looks = [looks[0], replace(following, steps=(*left_out.steps, *following.steps)), *looks[3:]]
    return looks

"""Which node answered when a person did something: a state that signs and words move on, and nothing else.

No clock and no file here. ``usbwatch.capture.watched_nodes`` brings the signs
of a live machine; anything that has its ``wait`` can stand in for it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Dict, FrozenSet, Protocol, Tuple, Union

from usbwatch.capture.signs import Sign
from usbwatch.model import Deed, Observation, Response

__all__ = [
    "SETTLE_MS",
    "TELLING",
    "Ask",
    "Happening",
    "Left",
    "Nodes",
    "Said",
    "Signs",
    "Watch",
    "begun",
    "is_over",
    "moved_on",
    "observation",
    "strays",
]

TELLING: Dict[Deed, FrozenSet[Sign]] = {
    Deed.PRESS: frozenset({Sign.LETTER, Sign.MODIFIER, Sign.KEY}),
    Deed.MOVE: frozenset({Sign.MOTION, Sign.TOUCH}),
    Deed.CLICK: frozenset({Sign.BUTTON}),
    Deed.TOUCH: frozenset({Sign.MOTION, Sign.TOUCH}),
    Deed.CLOSE: frozenset({Sign.LID}),
    Deed.PULL: frozenset({Sign.OFFLINE}),
    Deed.PLUG: frozenset({Sign.ONLINE}),
}
"""The signs that tell of each deed; all others pass unnoticed."""

_ANSWERING: Dict[Deed, FrozenSet[Sign]] = {**TELLING, Deed.PRESS: frozenset({Sign.LETTER, Sign.MODIFIER})}
"""The signs that answer it: other keys may be hot keys, which come through the same port without a keyboard."""

SETTLE_MS: Dict[Deed, int] = {**dict.fromkeys(Deed, 600), Deed.PULL: 4000, Deed.PLUG: 4000, Deed.CLOSE: 2000}
"""How long is watched on after an answer or a word, so that a slow node is heard, too.

Supplies are looked at once a second, and their firmware takes its time: common practice, no source.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One thing that a person is asked to do."""

    function: str
    deed: Deed
    own: Tuple[str, ...]
    """Locations of the nodes that can speak for the part, sorted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """Signs that one node gave at one moment, each as often as it came."""

    at_ms: int
    location: str
    signs: Tuple[Sign, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A word of the person."""

    at_ms: int
    done: bool
    """Whether it was done; else it could not be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A node that can be watched no longer: its device is gone."""

    at_ms: int
    location: str


Happening = Union[Signs, Said, Left]


class Nodes(Protocol):
    """What a machine's input and power nodes, and its person, tell."""

    def wait(self, timeout_s: float) -> Tuple[Happening, ...]:
        """What happened, waiting at most so long for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tally:
    """What one node told."""

    first_ms: int
    events: int = 0
    letters: int = 0
    modifiers: int = 0
    answers: bool = False
    """Whether one of its signs answers the deed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """One ask, and what has come of it so far."""

    ask: Ask
    began_ms: int
    ends_ms: int
    tallies: Dict[str, _Tally] = field(default_factory=dict)
    """By location, of every node that told of the deed."""
    said: Tuple[bool, ...] = ()
    """The person's words, in order."""
    left: FrozenSet[str] = frozenset()


def begun(ask: Ask, now_ms: int, patience_ms: int) -> Watch:
    """The watch at its beginning; it ends when nothing happens for ``patience_ms``."""
    return Watch(ask=ask, began_ms=now_ms, ends_ms=now_ms + patience_ms)


def moved_on(watch: Watch, happening: Happening) -> Watch:
    """The watch after one more thing has happened."""
    if isinstance(happening, Signs):
        return _heard(watch, happening)
    if isinstance(happening, Left):
        return replace(watch, left=watch.left | {happening.location})
    ends_ms = happening.at_ms + (SETTLE_MS[watch.ask.deed] if happening.done else 0)
    return replace(watch, said=(*watch.said, happening.done), ends_ms=min(watch.ends_ms, ends_ms))


def _heard(watch: Watch, told: Signs) -> Watch:
    telling = [sign for sign in told.signs if sign in TELLING[watch.ask.deed]]
    if not telling:
        return watch
    tally = watch.tallies.get(told.location, _Tally(first_ms=told.at_ms))
    tally = replace(
        tally,
        events=tally.events + len(telling),
        letters=tally.letters + telling.count(Sign.LETTER),
        modifiers=tally.modifiers + telling.count(Sign.MODIFIER),
        answers=tally.answers or bool(_ANSWERING[watch.ask.deed] & set(telling)),
    )
    ends_ms = watch.ends_ms
    if told.location in watch.ask.own and tally.answers:
        ends_ms = min(ends_ms, told.at_ms + SETTLE_MS[Deed.PRESS])
    return replace(watch, tallies={**watch.tallies, told.location: tally}, ends_ms=ends_ms)


def is_over(watch: Watch, now_ms: int) -> bool:
    """Whether there is nothing left to wait for."""
    return now_ms >= watch.ends_ms or set(watch.ask.own) <= watch.left


def strays(watch: Watch) -> Tuple[str, ...]:
    """Locations of nodes that told of such a deed and cannot speak for the part, sorted."""
    return tuple(sorted(set(watch.tallies) - set(watch.ask.own)))


def observation(watch: Watch, observed_at: str, names: Dict[str, str]) -> Observation:
    """What the watch came to; ``names`` are what the nodes call themselves, by location."""
    tallies = {place: watch.tallies[place] for place in watch.ask.own if place in watch.tallies}
    own = [(tally.first_ms, place) for place, tally in tallies.items() if tally.answers]
    seen = Observation(
        function=watch.ask.function,
        deed=watch.ask.deed,
        response=_without_answer(watch),
        observed_at=observed_at,
        watched=tuple(place for place in watch.ask.own if place not in watch.left),
        elsewhere=strays(watch),
    )
    if not own:
        return seen
    first_ms, place = min(own)
    tally = tallies[place]
    return replace(
        seen,
        response=Response.ANSWERED,
        location=place,
        name=names.get(place, ""),
        after_ms=max(0, first_ms - watch.began_ms),
        events=tally.events,
        letters=tally.letters,
        modifiers=tally.modifiers,
    )


def _without_answer(watch: Watch) -> Response:
    """Silence means something only when somebody says that it was done, and a node was there to hear.

    A node of the part that told of some other key was not silent, and has not answered either.
    """
    if set(watch.ask.own) & set(watch.tallies):
        return Response.NOT_DONE
    heard = set(watch.ask.own) - watch.left
    return Response.SILENT if heard and watch.said and watch.said[-1] else Response.NOT_DONE

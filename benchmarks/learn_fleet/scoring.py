"""What was learnt of a fleet against what is true of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from benchmarks.learn_fleet.fleet import Made, Plan
from usbwatch.drafting.learning import Learnt, LearntDevice, Standing

__all__ = ["KINDS", "Score", "score"]

KINDS = ("mandatory", "optional", "second source", "place")


@dataclass(slots=True, kw_only=True)
class Score:
    """Right, wrong and missed, by kind; ``wrong`` and ``missed`` in words for whoever wants to know why."""

    right: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)
    """What is true and does not show in these captures, so that nothing could tell it."""
    words: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Count another fleet's in."""
        for name in ("right", "wrong", "missed", "hidden"):
            getattr(self, name).update(getattr(other, name))
        self.words += other.words

    def precision(self, *kinds: str) -> float:
        """Of what was said, the share that is true; 1 of nothing."""
        right = sum(self.right[kind] for kind in kinds)
        said = right + sum(self.wrong[kind] for kind in kinds)
        return right / said if said else 1.0

    def recall(self, *kinds: str) -> float:
        """Of what is true and shows, the share that was said; 1 of nothing."""
        right = sum(self.right[kind] for kind in kinds)
        true = right + sum(self.missed[kind] for kind in kinds)
        return right / true if true else 1.0


_Item = tuple[str, ...]


def score(made: Plan, captures: Sequence[Made], learnt: Learnt) -> Score:
    """One fleet's score.

    What no capture shows cannot be learnt and is not asked for: an optional
    part that all these units have (or none), an identity or a place that none
    of them has, an I2C part that no kernel among them drives. It is counted as
    ``hidden``.
    """
    result = Score()
    true, hidden = _truth(made, captures)
    said = _said(made, learnt)
    for kind in KINDS:
        result.hidden[kind] += len(hidden[kind])
        excused = hidden["either"] if kind in ("mandatory", "optional") else hidden[kind]
        for item in sorted(said[kind] - excused):
            (result.right if item in true[kind] else result.wrong)[kind] += 1
            if item not in true[kind]:
                result.words.append(f"wrong {kind}: {' '.join(item)}")
        for item in sorted(true[kind] - said[kind]):
            result.missed[kind] += 1
            result.words.append(f"missed {kind}: {' '.join(item)}")
    return result


def _truth(made: Plan, captures: Sequence[Made]) -> tuple[dict[str, set[_Item]], dict[str, set[_Item]]]:
    true: dict[str, set[_Item]] = {kind: set() for kind in KINDS}
    hidden: dict[str, set[_Item]] = {kind: set() for kind in (*KINDS, "either")}
    everywhere = set.intersection(*(set(one.has) for one in captures))
    anywhere = set.union(*(set(one.has) for one in captures))
    optional = _optional(made)
    for part in made.layout.parts:
        item = (part.place,)
        if not _shown(part.place, captures, "at"):
            hidden["mandatory"].add(item)
            hidden["either"].add(item)
        elif part.place not in optional:
            true["mandatory"].add(item)
        elif part.place in everywhere or part.place not in anywhere:
            hidden["optional"].add(item)
            hidden["either"].add(item)
        else:
            true["optional"].add(item)
        for kind, what in (("second source", "identities"), ("place", "at")):
            shown = _shown(part.place, captures, what)
            several = shown if len(shown) > 1 else set()
            true[kind] |= {(part.place, one) for one in several}
            hidden[kind] |= {(part.place, one) for one in _planted(kind, part.place, made) - several}
    return true, hidden


def _optional(made: Plan) -> set[str]:
    from usbwatch.model import hangs_on

    own = {part.place for option in made.options for part in option.parts}
    return {
        part.place for part in made.layout.parts if any(part.place == one or hangs_on(part.place, one) for one in own)
    }


def _shown(place: str, captures: Sequence[Made], what: str) -> set[str]:
    """The identities or places that a part has in those units that show it."""
    return {getattr(one, what)[place] for one in captures if place in one.has - one.faulty and _sees(place, one)}


def _sees(place: str, one: Made) -> bool:
    """Whether a capture shows a part at all: of an I2C or SPI client nothing is known until a driver holds it."""
    where = one.at[place]
    nodes = [node for node in one.capture.nodes if node.location == where and node.bus != "usb-port"]
    clients = [node for node in nodes if node.bus in ("i2c", "spi")]
    return all(node.driver for node in clients) if clients else bool(nodes)


def _planted(kind: str, place: str, made: Plan) -> set[str]:
    """The identities or places that units of the model can have for a part, where there are several."""
    if kind == "second source":
        return {identity for identity, _ in made.sources.get(place, ())}
    return {place, made.moves[place][0]} if place in made.moves else set()


def _said(made: Plan, learnt: Learnt) -> dict[str, set[_Item]]:
    said: dict[str, set[_Item]] = {kind: set() for kind in KINDS}
    part_at = {part.place: part.place for part in made.layout.parts}
    part_at |= {target: place for place, (target, _, _) in made.moves.items()}
    used: Counter[str] = Counter()
    for device in learnt.devices:
        part = _part(device, part_at)
        used[part] += 1
        name = part if used[part] == 1 else f"{part} again ({used[part]})"
        said["mandatory" if device.standing is Standing.MANDATORY else "optional"].add((name,))
        if len(device.identities) > 1:
            said["second source"] |= {(name, one.text) for one in device.identities}
        if len(device.places) > 1:
            said["place"] |= {(name, one.text) for one in device.places}
    return said


def _part(device: LearntDevice, part_at: dict[str, str]) -> str:
    return next(
        (part_at[one.text] for one in device.places if one.text in part_at), f"no part: {device.places[0].text}"
    )

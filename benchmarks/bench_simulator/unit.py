"""One invented unit: which faults it has, what a capture of it shows, and what a step does to it."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from benchmarks.bench_simulator.anatomy import Anatomy, Mode
from benchmarks.bench_simulator.tables import OUTCOMES, SAID, World
from usbwatch.model import PartKind

__all__ = ["Unit", "draw"]


@dataclass(slots=True)
class Unit:
    """One unit on the bench. What a fault shows is settled once, when it is first looked at."""

    anatomy: Anatomy
    chance: random.Random
    faults: set[int]
    unseen: set[str]
    shows: dict[tuple[int, str], str] = field(default_factory=dict)
    """What each fault does to each device or check: one of ``OUTCOMES``."""
    away: set[int] = field(default_factory=set)
    """Loose contacts that are away in the present capture."""
    complained: set[str] = field(default_factory=set)
    """All that was ever seen wrong."""
    first: dict[str, str] = field(default_factory=dict)
    """The capture with which it came to the bench."""
    leaves_open: bool = False
    """Its captures cannot show whether software keeps a device away."""

    def again(self, seed: str) -> Unit:
        """The same unit as it came to the bench, for another policy."""
        return replace(
            self,
            chance=random.Random(seed),
            faults=set(self.faults),
            unseen=set(self.unseen),
            shows=dict(self.shows),
            away=set(self.away),
            complained=set(self.complained),
            first=dict(self.first),
        )

    def look(self, flexed: str = "") -> dict[str, str]:
        """One capture: an outcome per device; ``unseen``, or ``behind`` a hub that is not there."""
        self._toss(flexed)
        shown = {device.id: self._outcome(device.id) for device in self.anatomy.profile.devices}
        seen: dict[str, str] = {}
        for id_, outcome in shown.items():
            hub = self.anatomy.carriers.get(id_, "")
            if hub and seen.get(hub) in ("absent", SAID, "failed", "behind", "unseen"):
                seen[id_] = "behind"
            else:
                seen[id_] = "unseen" if id_ in self.unseen else self._told(id_, outcome)
        self.complained |= {id_ for id_, outcome in seen.items() if outcome not in ("works", "unseen", "behind")}
        return seen

    def look_at(self, device: str) -> str:
        """What a device shows that the captures so far did not see."""
        self.unseen.discard(device)
        outcome = self._told(device, self._outcome(device))
        self.complained |= {device} if outcome != "works" else set()
        return outcome

    def answer(self, check: str) -> bool:
        """A hand check: whether the answer is yes."""
        yes = self._outcome(check) == "works"
        self.complained |= set() if yes else {check}
        return yes

    def measure(self, part: str) -> bool:
        """The meter on a rail or along a link: whether it finds it whole."""
        off = any(self.anatomy.modes[number] in self._metered(part) for number in self.faults)
        return off == (self.chance.random() < self.anatomy.world.meter_misleads)

    def helper(self, function: str) -> bool:
        """Whether a helper device of this function works in a socket."""
        own = {id_ for id_ in self.anatomy.on_usb if self.anatomy.functions[id_] == function}
        modes = [self.anatomy.modes[number] for number in self.faults]
        kept_away = any(mode.kind == "software" and mode.of in own for mode in modes)
        world = self.anatomy.world
        return self.chance.random() < (world.helper_works_anyway if kept_away else 1 - world.helper_fails)

    def _metered(self, part: str) -> list[Mode]:
        return [mode for mode in self.anatomy.modes if mode.of == part and mode.kind in ("rail", "torn")]

    def faulty_parts(self) -> set[str]:
        """What would have to be replaced, reseated ("" stands for software, "?" for what nobody knows)."""
        return {self.anatomy.modes[number].part for number in self.faults}

    def still_complains(self) -> bool:
        """Whether anything that was seen wrong has a lasting cause, be it away just now."""
        return any(
            number in self.faults and self._settled(number, shape, id_) != "works"
            for id_ in self.complained
            for number, shape in self.anatomy.paths[id_]
        )

    def reseat(self, link: str) -> set[int]:
        """Open a link and seat it again. All steps return the modes that they bear on."""
        return self._disturb({link}) | self._drained()

    def fit(self, part: str) -> tuple[set[int], bool]:
        """Fit a bought part; what joins it is seated again. Also whether it was the wrong part."""
        world, modes = self.anatomy.world, self.anatomy.modes
        own = {number for number, mode in enumerate(modes) if mode.part == part}
        wrong = not own & self.faults
        links = {each.id for each in self.anatomy.profile.parts if part in each.joins}
        borne = self._disturb(links) | self._drained() | own
        for number in sorted(own & self.faults):
            if self.chance.random() >= world.wrong_part_changed:
                self._gone(number)
        if self.chance.random() < world.bad_bought:
            weights = [modes[number].prior for number in sorted(own)]
            self._new(self.chance.choices(sorted(own), weights)[0])
        return borne, wrong

    def drain(self) -> set[int]:
        """Leave the unit without any power."""
        return self._drained()

    def reload(self, device: str) -> set[int]:
        """Load, enable or unblock a device."""
        world = self.anatomy.world
        fails = {"software": world.reload_fails, "hung": world.reload_leaves_hung}
        borne = set()
        for number, mode in enumerate(self.anatomy.modes):
            if mode.of == device and mode.kind in fails:
                borne.add(number)
                if number in self.faults and self.chance.random() >= fails[mode.kind]:
                    self._gone(number)
        return borne

    def settle(self, borne: set[int]) -> None:
        """After a step: where it bore on the way to a device, a lasting fault may show otherwise than before."""
        world = self.anatomy.world
        for id_, path in self.anatomy.paths.items():
            if not borne & {number for number, _ in path}:
                continue
            for number, shape in path:
                before = self.shows.get((number, id_))
                if number in self.faults and before is not None:
                    self._turn(number, shape, id_, before, world)

    def _turn(self, number: int, shape: str, id_: str, before: str, world: World) -> None:
        turns = world.well_turns if before == "works" else world.wrong_turns
        if self.chance.random() < turns:
            self.shows[number, id_] = self._drawn(shape, id_)

    def _toss(self, flexed: str) -> None:
        world = self.anatomy.world
        self.away = set()
        for number in sorted(self.faults):
            mode = self.anatomy.modes[number]
            likely = world.contact_away_flexed if mode.of == flexed else world.contact_away
            if mode.kind != "loose" or self.chance.random() < likely:
                self.away.add(number)

    def _outcome(self, id_: str) -> str:
        for number, shape in self.anatomy.paths[id_]:
            if number in self.faults and number in self.away:
                outcome = self._settled(number, shape, id_)
                if outcome != "works":
                    return outcome
        if id_ in self.anatomy.functions:
            return self._drawn("none", id_)
        return "absent" if self.chance.random() < self.anatomy.world.wrongly_no else "works"

    def _settled(self, number: int, shape: str, id_: str) -> str:
        if (number, id_) not in self.shows:
            self.shows[number, id_] = self._drawn(shape, id_)
        return self.shows[number, id_]

    def _drawn(self, shape: str, id_: str) -> str:
        function = self.anatomy.functions.get(id_, "")
        outcome = self.chance.choices(OUTCOMES, self.anatomy.world.chances(shape, function))[0]
        if shape == "software" and outcome == "absent" and id_ in self.anatomy.on_usb and not self.leaves_open:
            quiet = self.chance.random() < self.anatomy.world.leaves_no_trace(function)
            return "absent" if quiet else SAID
        return outcome

    def _told(self, device: str, outcome: str) -> str:
        """How a capture puts it: one that leaves software open does so for every device that USB should show."""
        return SAID if self.leaves_open and outcome == "absent" and device in self.anatomy.on_usb else outcome

    def _disturb(self, links: set[str]) -> set[int]:
        world = self.anatomy.world
        fates = {
            "open": (world.still_unseated, world.unseated_by_work),
            "torn": (1.0, world.torn_by_work),
            "loose": (world.still_loose, world.loosened_by_work),
        }
        borne = set()
        for number, mode in enumerate(self.anatomy.modes):
            if mode.of in links and mode.kind in fates:
                borne.add(number)
                stays, comes = fates[mode.kind]
                if number in self.faults and self.chance.random() >= stays:
                    self._gone(number)
                elif number not in self.faults and self.chance.random() < comes:
                    self._new(number)
        return borne

    def _drained(self) -> set[int]:
        hung = {number for number, mode in enumerate(self.anatomy.modes) if mode.kind == "hung"}
        for number in sorted(hung & self.faults):
            if self.chance.random() >= self.anatomy.world.drain_fails:
                self._gone(number)
        return hung

    def _gone(self, number: int) -> None:
        self.faults.discard(number)
        for key in [key for key in self.shows if key[0] == number]:
            del self.shows[key]

    def _new(self, number: int) -> None:
        self._gone(number)
        self.faults.add(number)


def draw(anatomy: Anatomy, seed: str) -> Unit:
    """A unit whose first capture shows something wrong: others do not come to the bench.

    Nor do those of which the capture shows that software keeps a device away:
    the capture names the cure, and it is tried before anything is suspected.
    """
    chance = random.Random(seed)
    while True:
        faults = {number for number, mode in enumerate(anatomy.modes) if chance.random() < mode.prior}
        if chance.random() < anatomy.world.liquid:
            faults |= _soaking(anatomy, chance)
        unseen = {device for device in anatomy.often_unseen if chance.random() < 0.5}  # noqa: PLR2004
        leaves_open = chance.random() < anatomy.world.software_left_open
        unit = Unit(anatomy=anatomy, chance=chance, faults=faults, unseen=unseen, leaves_open=leaves_open)
        unit.first = unit.look()
        if unit.complained and SAID not in unit.shows.values():
            return unit


def _soaking(anatomy: Anatomy, chance: random.Random) -> set[int]:
    """Two to four failures in one subassembly and the links to it."""
    assemblies = [part for part in anatomy.profile.parts if part.kind is PartKind.SUBASSEMBLY]
    wet = chance.choice(assemblies).id
    links = {part.id for part in anatomy.profile.parts if wet in part.joins}
    near = [
        number
        for number, mode in enumerate(anatomy.modes)
        if (mode.part == wet or mode.of in links) and mode.kind not in ("software", "strange")
    ]
    return set(chance.sample(near, min(len(near), chance.randint(2, 4))))

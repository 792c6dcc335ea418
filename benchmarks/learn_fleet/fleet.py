"""A fleet of one model with planted truth: variants, second sources, moved ports, faults, helpers, versions.

``Plan`` is drawn first and says what is true of the model; then each unit is
drawn from it. Nothing here knows how learning works, and learning sees only
the captures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from random import Random

from benchmarks.learn_fleet.editing import (
    Nodes,
    add_helper,
    fail,
    lose,
    move,
    reidentify,
    slow_down,
    undrive,
    unmap,
)
from benchmarks.learn_fleet.layouts import Layout, Part
from usbwatch.model import Capture, Coverage, CoverageState, Episode, Rung, hangs_on

__all__ = ["FAULTY", "HELPED", "Made", "Plan", "captures", "plan"]

FAULTY = 0.03
"""Share of units with a fault."""
HELPED = 0.10
"""Share of captures with helper devices left in."""
_BLIND = 0.05
"""Share of captures that could not see a bus."""
_MAPPED = 0.7
"""Share of models whose firmware says which USB ports are sockets."""
_UNTOLD = 0.25
"""Share of options of which no string tells."""
_RENAMED = 0.3
"""Share of models of which another version of firmware names an object anew."""
_AS_ROOT = 0.6
"""Share of captures that could read the unit's serial number."""
_HABIT = 0.3
"""Share of benches that leave the same helper in the same socket, and how often they do."""
_HABITUAL = 0.7

_VARIABLE = frozenset(
    [
        *("fingerprint-reader", "smart-card-reader", "camera", "bluetooth", "wlan", "wwan", "ethernet"),
        *("touchscreen", "storage", "audio", "sensor", ""),
    ]
)
"""Functions that makers leave out of some variants."""
_SOURCED = ("usb", "pci", "drm", "i2c", "spi")
_HELPERS = (
    ("1209:0008", "Desk Mouse", "mouse"),
    ("1209:0001", "Larch Internal Keyboard", "keyboard"),
    ("1209:000f", "Bench Stick", "storage"),
    ("1209:0009", "Radio Dongle", "bluetooth"),
    ("1209:000e", "Desk Camera", "camera"),
    ("1209:000a", "Desk Headset", "audio"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """Parts that only some units have."""

    parts: tuple[Part, ...]
    key: str
    """The string that tells; "" where none does."""
    lacking: frozenset[str] = frozenset()
    """Its values whose units lack them."""
    share: float = 0.0
    """Where no string tells: how many units have them."""


@dataclass(slots=True, kw_only=True)
class Plan:
    """What is true of a model."""

    layout: Layout
    strings: dict[str, tuple[tuple[str, float], ...]]
    """By key: values and their shares."""
    options: tuple[Option, ...] = ()
    sources: dict[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)
    """By place: identities and their shares."""
    moves: dict[str, tuple[str, str, frozenset[str]]] = field(default_factory=dict)
    """By place: another place, the string that tells, and its values with which the part is there."""
    undriven: dict[str, frozenset[str]] = field(default_factory=dict)
    """By place: kernels without the part's driver."""
    mapped: bool = True
    """Firmware says which USB ports are sockets."""
    faulty: float = FAULTY
    helped: float = HELPED
    habit: tuple[int, str] | None = None
    """The helper that this bench leaves in most often, and in which socket; None for a bench without a habit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One capture, and what is true of its unit."""

    capture: Capture
    has: frozenset[str]
    """Places (as in the layout) of the parts that the unit was built with."""
    faulty: frozenset[str]
    """Places of those with a fault."""
    identities: dict[str, str]
    at: dict[str, str]
    """By place in the layout: the identity and the place that the part has in this unit."""
    helpers: tuple[str, ...]


def _shares(rng: Random, count: int) -> list[float]:
    drawn = [rng.gammavariate(2, 1) + 0.15 for _ in range(count)]
    return [one / sum(drawn) for one in drawn]


def _values(rng: Random, names: list[str]) -> tuple[tuple[str, float], ...]:
    return tuple(zip(names, _shares(rng, len(names)), strict=True))


def plan(rng: Random, layout: Layout) -> Plan:
    """What is true of one model, drawn at random."""
    unit = layout.capture.unit
    strings = {
        "product_sku": _values(rng, [f"{unit.product_sku}-{letter}" for letter in "ABCDEF"[: rng.randint(2, 6)]]),
        "board_version": _values(rng, ["B1", "B2", "C1"][: rng.randint(2, 3)]),
        "bios_version": _values(rng, ["1.02", "1.05", "1.07", "1.10"][: rng.randint(1, 4)]),
        "kernel": _values(rng, ["5.15.0-91-generic", "6.1.0-18-amd64", "6.12.0"][: rng.randint(1, 3)]),
    }
    made = Plan(layout=layout, strings=strings, mapped=rng.random() < _MAPPED)
    taken: set[str] = set()
    if rng.random() < _HABIT:
        made.habit = (rng.randrange(len(_HELPERS)), rng.choice(layout.sockets))
    made.options = tuple(_options(rng, layout, strings, taken))
    _moves(rng, made)
    _sources(rng, made)
    if len(strings["kernel"]) > 1:
        made.undriven = dict.fromkeys(_undriven(rng, layout), frozenset({strings["kernel"][0][0]}))
    return made


def _undriven(rng: Random, layout: Layout) -> Iterator[str]:
    """Places of all parts of two drivers that an old kernel does not have."""
    parts = [part for part in layout.parts if part.bus in ("usb", "i2c", "pci") and part.function not in _CARRIERS]
    drivers = sorted({part.driver for part in parts if part.driver})
    for driver in rng.sample(drivers, min(2, len(drivers))):
        yield from (part.place for part in parts if part.driver == driver)


_CARRIERS = frozenset({"usb-controller", "hub", "graphics", "disk"})


def _options(
    rng: Random, layout: Layout, strings: dict[str, tuple[tuple[str, float], ...]], taken: set[str]
) -> Iterator[Option]:
    choices = [part for part in layout.parts if part.function in _VARIABLE and part.bus not in ("acpi", "serio")]
    rng.shuffle(choices)
    for _ in range(rng.randint(1, 3)):
        parts = tuple(choices.pop() for _ in range(min(rng.randint(1, 2), len(choices))))
        if not parts:
            return
        taken |= {part.place for part in parts}
        if rng.random() < _UNTOLD:
            yield Option(parts=parts, key="", share=rng.uniform(0.25, 0.75))
            continue
        key = rng.choice(("product_sku", "product_sku", "board_version"))
        values = [value for value, _ in strings[key]]
        lacking = rng.sample(values, rng.randint(1, len(values) - 1))
        yield Option(parts=parts, key=key, lacking=frozenset(lacking))


def _moves(rng: Random, made: Plan) -> None:
    """USB parts at other ports of another board revision; a firmware object that another version names anew."""
    usb = [
        part
        for part in made.layout.parts
        if part.bus == "usb" and part.function not in _CARRIERS and "." not in part.place.rpartition("/")[2]
    ]
    boards = [value for value, _ in made.strings["board_version"]]
    spare = list(made.layout.spare)
    rng.shuffle(spare)
    for part in rng.sample(usb, min(rng.randint(0, 2), len(usb), len(spare))):
        values = frozenset(rng.sample(boards, rng.randint(1, len(boards) - 1)))
        made.moves[part.place] = (spare.pop(), "board_version", values)
    named = [part for part in made.layout.parts if part.bus == "acpi" and part.function in ("battery", "lid")]
    versions = [value for value, _ in made.strings["bios_version"]]
    if named and len(versions) > 1 and rng.random() < _RENAMED:
        part = rng.choice(named)
        values = frozenset(rng.sample(versions, rng.randint(1, len(versions) - 1)))
        made.moves[part.place] = (f"{part.place[:-1]}9", "bios_version", values)


def _sources(rng: Random, made: Plan) -> None:
    known = {part.identity for part in made.layout.parts}
    choices = [
        part
        for part in made.layout.parts
        if part.bus in _SOURCED and part.identity and part.function not in ("usb-controller", "graphics")
    ]
    for part in rng.sample(choices, rng.randint(2, 4)):
        others = [one for one in (_another(rng, part) for _ in range(rng.randint(1, 2))) if one not in known]
        names = list(dict.fromkeys([part.identity, *others]))
        known |= set(names)
        if len(names) > 1:
            made.sources[part.place] = _values(rng, names)


def _another(rng: Random, part: Part) -> str:
    head = part.identity.partition(":")[0]
    if part.bus in ("usb", "pci"):
        return (
            f"{head}:{rng.randint(0x1, 0x10):04x}" if part.bus == "usb" else f"{head}:{rng.randint(0x200, 0xFFF):04x}"
        )
    if part.bus == "drm":
        return f"{head}:{rng.randint(0x1000, 0xFFFF):04X}"
    return f"{part.identity[:4]}{rng.randint(0x20, 0xFFF):04X}"


def _draw(rng: Random, values: tuple[tuple[str, float], ...]) -> str:
    return rng.choices([value for value, _ in values], [share for _, share in values])[0]


def captures(rng: Random, made: Plan, count: int) -> Iterator[Made]:
    """Captures of ``count`` units of a model."""
    for number in range(count):
        yield _unit(rng, made, number)


def _unit(rng: Random, made: Plan, number: int) -> Made:
    strings = {key: _draw(rng, values) for key, values in made.strings.items()}
    nodes: Nodes = {(node.bus, node.location): node for node in made.layout.capture.nodes}
    if not made.mapped:
        unmap(nodes)
    lacking = _lacking(rng, made, strings)
    identities, at = {}, {}
    for part in made.layout.parts:
        identities[part.place] = _draw(rng, made.sources[part.place]) if part.place in made.sources else part.identity
        target, key, values = made.moves.get(part.place, ("", "", frozenset()))
        at[part.place] = target if target and strings[key] in values else part.place
        if part.place in lacking:
            _leave_out(nodes, part)
        else:
            reidentify(nodes, part.place, part.identity, identities[part.place])
            if strings["kernel"] in made.undriven.get(part.place, ()):
                undrive(nodes, part.place, part.bus)
    episodes: list[Episode] = []
    has = frozenset(part.place for part in made.layout.parts) - _with_children(lacking, made)
    faulty = _fault(rng, made, nodes, has, episodes) if rng.random() < made.faulty else frozenset()
    for place in made.moves:
        if at[place] != place and any(node.location == place for node in nodes.values()):
            move(nodes, place, at[place])
    episodes = [replace(one, location=at.get(one.location, one.location)) for one in episodes]
    helpers = tuple(_helpers(rng, made, nodes)) if rng.random() < made.helped else ()
    capture = _capture(rng, made, nodes, strings, number)
    return Made(
        capture=replace(capture, episodes=tuple(episodes)),
        has=has,
        faulty=faulty,
        identities=identities,
        at=at,
        helpers=helpers,
    )


def _lacking(rng: Random, made: Plan, strings: dict[str, str]) -> set[str]:
    lacking: set[str] = set()
    for option in made.options:
        without = strings[option.key] in option.lacking if option.key else rng.random() >= option.share
        if without:
            lacking |= {part.place for part in option.parts}
    return lacking


def _with_children(places: set[str], made: Plan) -> set[str]:
    return {
        part.place
        for part in made.layout.parts
        if any(part.place == one or hangs_on(part.place, one) for one in places)
    }


def _leave_out(nodes: Nodes, part: Part) -> None:
    if (part.bus, part.place) in nodes:
        lose(nodes, part.place, part.bus, fitted=False)


def _fault(rng: Random, made: Plan, nodes: Nodes, has: frozenset[str], episodes: list[Episode]) -> frozenset[str]:
    """One fault of a unit; the places of the parts that it touches."""
    choices = [
        part
        for part in made.layout.parts
        if part.place in has and (part.bus, part.place) in nodes and _can_fail(part, nodes)
    ]
    part = rng.choice(choices)
    kind = (
        rng.choice(("lost", "lost", "lost", "failing", "slow", "undriven", "strange")) if part.bus == "usb" else "lost"
    )
    if kind == "lost":
        lose(nodes, part.place, part.bus, fitted=True)
        return frozenset(_with_children({part.place}, made))
    if kind == "failing":
        fail(nodes, part.place)
        episodes.append(
            Episode(location=part.place, trouble="enumeration failed", count=4, errno=-71, rung=Rung.ATTACHED)
        )
        return frozenset(_with_children({part.place}, made))
    if kind == "slow":
        slow_down(nodes, part.place)
    elif kind == "undriven":
        undrive(nodes, part.place, part.bus)
    else:
        undrive(nodes, part.place, part.bus)
        node = nodes["usb", part.place]
        nodes["usb", part.place] = replace(node, identity="1209:0010", functions=(), name="Boot Loader")
    return frozenset({part.place})


def _can_fail(part: Part, nodes: Nodes) -> bool:
    if part.function in ("usb-controller", "graphics") or part.bus == "serio":
        return False
    if part.bus in ("i2c", "spi"):
        return nodes[part.bus, part.place].driver != ""
    return part.bus != "acpi" or part.function == "battery"


def _helpers(rng: Random, made: Plan, nodes: Nodes) -> Iterator[str]:
    sockets = list(made.layout.sockets)
    rng.shuffle(sockets)
    if made.habit is not None and rng.random() < _HABITUAL:
        add_helper(nodes, made.habit[1], *_HELPERS[made.habit[0]])
        yield made.habit[1]
        return
    for identity, name, function in rng.sample(_HELPERS, rng.randint(1, 2)):
        if sockets:
            place = sockets.pop()
            add_helper(nodes, place, identity, name, function)
            yield place


def _capture(rng: Random, made: Plan, nodes: Nodes, strings: dict[str, str], number: int) -> Capture:
    base = made.layout.capture
    coverage = list(base.coverage)
    if rng.random() < _BLIND:
        blind = rng.choice(("drm", "i2c", "spi", "serio"))
        coverage = [
            Coverage(bus=one.bus, state=CoverageState.NOT_THERE) if one.bus == blind else one for one in coverage
        ]
        for key in [key for key, node in nodes.items() if node.bus == blind]:
            del nodes[key]
    serial = f"LG-{number:05d}-{rng.randint(0, 0xFFFF):04X}"
    for key, node in nodes.items():
        told: dict[str, str | int] = {
            name: f"{serial}-DEMO" for name in ("serial", "serial_number") if name in node.facts
        }
        if told:
            nodes[key] = replace(node, facts={**node.facts, **told})
    unit = {key: value for key, value in strings.items() if key != "kernel"}
    day = f"2026-{rng.randint(1, 9):02d}-{rng.randint(1, 28):02d}"
    return replace(
        base,
        taken_at=f"{day}T09:14:00Z",
        unit=replace(base.unit, product_serial=serial if rng.random() < _AS_ROOT else "", **unit),
        system=replace(base.system, kernel=strings["kernel"]),
        coverage=tuple(_loaded(coverage, made, strings["kernel"])),
        nodes=tuple(sorted(nodes.values(), key=lambda node: (node.location, node.bus))),
        software=replace(base.software, drivers_for={}),
    )


def _loaded(coverage: list[Coverage], made: Plan, kernel: str) -> Iterator[Coverage]:
    """What a kernel says that it has loaded: not the drivers that it lacks."""
    lacks = {part.driver for part in made.layout.parts if kernel in made.undriven.get(part.place, ())}
    for one in coverage:
        yield replace(one, drivers=tuple(driver for driver in one.drivers if driver not in lacks))

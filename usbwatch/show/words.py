"""The signs and words that stand for the model's values on every screen.

A state is always told by its word and its sign together, so that it can be
read without colour, and aloud.
"""

from __future__ import annotations

from collections.abc import Sequence

from usbwatch.model import (
    Capture,
    Cure,
    CureKind,
    Episode,
    Money,
    Node,
    Part,
    PartKind,
    Profile,
    Step,
    StepKind,
    UnitStrings,
    Verdict,
)
from usbwatch.show.lines import Style
from usbwatch.show.safe import safe

__all__ = [
    "SIGNS",
    "STYLES",
    "WORDS",
    "counted",
    "cure",
    "cure_words",
    "in_a_hundred",
    "listed",
    "node_name",
    "part_name",
    "percent",
    "place",
    "price",
    "small_percent",
    "step_words",
    "sum_of",
    "taken_words",
    "unit_name",
]

SIGNS = {
    Verdict.PRESENT: "✓",
    Verdict.IMPAIRED: "!",
    Verdict.MISSING: "✗",
    Verdict.UNSEEN: "?",
    Verdict.SUBSTITUTED: "≠",
    Verdict.MOVED: "→",
}
"""One sign per verdict; ``usbwatch.show.safe`` has the stand-ins for ASCII."""

WORDS = {
    Verdict.PRESENT: "present",
    Verdict.IMPAIRED: "IMPAIRED",
    Verdict.MISSING: "MISSING",
    Verdict.UNSEEN: "unseen",
    Verdict.SUBSTITUTED: "SUBSTITUTED",
    Verdict.MOVED: "MOVED",
}
"""The verdict's own word; in capitals where something is wrong, so that it stands out in black and white."""

STYLES = {
    Verdict.PRESENT: Style.FINE,
    Verdict.IMPAIRED: Style.WRONG,
    Verdict.MISSING: Style.WRONG,
    Verdict.UNSEEN: Style.UNSEEN,
    Verdict.SUBSTITUTED: Style.WRONG,
    Verdict.MOVED: Style.WRONG,
}

_NAME = 64
"""Characters of a name that are shown."""


def listed(items: Sequence[str], last: str = "and") -> str:
    """The items as a phrase: "a", "a and b", "a, b and c"."""
    if len(items) < 2:  # noqa: PLR2004 - one item needs no joining
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def counted(number: int, noun: str) -> str:
    """``1 device``, ``2 devices``, ``3 buses``."""
    plural = f"{noun}es" if noun.endswith("s") else f"{noun}s"
    return f"{number} {noun if number == 1 else plural}"


def percent(probability: float) -> str:
    """Whole percent; what is not certain is never shown as 0 or 100, nor closer to 100 than the figures allow."""
    if probability < 0.005:  # noqa: PLR2004 - would round to 0
        return "<1%"
    if probability >= 0.995:  # noqa: PLR2004 - would round to 100
        return "99%"
    return f"{round(100 * probability)}%"


def in_a_hundred(probability: float) -> str:
    """How often in a hundred cases, never none and never all: "43 of 100"."""
    return f"{min(99, max(1, round(100 * probability)))} of 100"


def part_name(part: str, profile: Profile) -> str:
    """The name of a part by its id; "software" for none."""
    return safe(next((one.name for one in profile.parts if one.id == part), part or "software"), _NAME)


def small_percent(probability: float) -> str:
    """To two digits, for what is rare: "1.8%", "0.11%"."""
    return f"{100 * probability:.2g}%"


def unit_name(unit: UnitStrings) -> str:
    """Maker and model as firmware gives them, or a phrase that says it gives none."""
    maker, model = safe(unit.sys_vendor.strip(), _NAME), safe(unit.product_name.strip(), _NAME)
    if maker and model.casefold().startswith(maker.casefold()):
        maker = ""
    return f"{maker} {model}".strip() or "a unit whose firmware gives no model"


def taken_words(capture: Capture, when: str) -> str:
    """When a capture was taken, as far as it is known, or that answers stand where none was made."""
    if not (capture.nodes or capture.coverage or capture.tool):
        return f"not captured; answers of {when}" if when else "not captured"
    return f"captured {when}" if when else "time of capture not recorded"


def node_name(node: Node) -> str:
    """What a node calls itself or does, with its identity: "Plover mouse (1209:0007)"."""
    name = safe(node.name.strip(), _NAME) or safe(listed(node.functions), _NAME)
    if not name:
        return f"nameless {node.kind.value} {safe(node.identity, _NAME)}".rstrip()
    return f"{name} ({safe(node.identity, _NAME)})" if node.identity else name


def trouble_words(episode: Episode) -> str:
    """One trouble of the kernel's log and where it was: "enumeration failed at pci0000:00/14.0/usb2/4.2"."""
    where = safe(episode.location, 120) or safe(episode.subject, 60)
    return f"{safe(episode.trouble, 60)} at {where or 'a place the log does not name'}"


def place(node: Node) -> str:
    """Where a node sits: its location, after its bus where the location does not begin with that."""
    location = safe(node.location, 120)
    return location if node.location.startswith(node.bus) else f"{safe(node.bus, _NAME)} {location}"


def cure(part: Part, by_id: dict[str, Part], money: Money) -> str:
    """What mends a part, and what that takes as far as it is known: "replace top case: EUR 60, 40 min"."""
    replaced = by_id.get(part.within, part) if part.kind in (PartKind.SECTION, PartKind.RAIL) else part
    deed = "reseat or replace" if part.kind is PartKind.LINK else f"replace {safe(replaced.name, _NAME)}"
    takes = [price(replaced.cost, money)] if replaced.cost is not None else []
    if replaced.minutes is not None:
        takes.append(f"{replaced.minutes} min")
    return f"{deed}: {', '.join(takes)}" if takes else deed


def price(amount: float, money: Money) -> str:
    """An amount in whole units: "EUR 60", or "cost 60" where the profile names no currency."""
    sign = safe(money.currency, 8) or "cost"
    return f"{sign} <1" if 0 < amount < 1 else f"{sign} {round(amount)}"


def sum_of(amount: float, money: Money) -> str:
    """The same within a sentence that says what the money is for: "EUR 60", or "60"."""
    return price(amount, money).removeprefix("cost ")


_CURES = {
    CureKind.RESEAT: "reseat {}",
    CureKind.REPLACE: "replace {}",
    CureKind.RELOAD: "load, enable or unblock {}",
    CureKind.DRAIN: "leave the unit without any power for a while",
}

_STEPS = {
    StepKind.RESEAT: "{} opened and seated again",
    StepKind.SWAP: "{} swapped for one known to be good",
    StepKind.FIT: "{} fitted new",
    StepKind.BACK: "{} that was there first put back",
    StepKind.MOVE: "{} left for another connector that takes the same",
    StepKind.DRAIN: "Left without any power for a while",
    StepKind.RELOAD: "{} loaded, enabled or unblocked",
    StepKind.FLEX: "{} moved, warmed or cooled during the capture",
}


def cure_words(its: Cure, profile: Profile) -> str:
    """What mends a fault: "reseat Top-case flex"."""
    return _CURES[its.kind].format(_named(its.of, profile))


def step_words(step: Step, profile: Profile) -> str:
    """What was done: "Top case swapped for one known to be good"."""
    return _STEPS[step.kind].format(_named(step.of, profile))


def _named(id_: str, profile: Profile) -> str:
    names = {part.id: part.name for part in profile.parts} | {device.id: device.name for device in profile.devices}
    return safe(names.get(id_, id_), _NAME)

"""What a battery pack held then and holds now, and which readings are a sign of another pack.

ACPI 6.5 section 10.2.2.2 (_BIX): the cycle count is the number of cycles that
the battery has experienced, the last full charge capacity what it is
predicted to hold when fully charged. The Smart Battery Data Specification
1.1 counts a cycle as a discharge of about the design capacity (section
5.1.24). Both are from memory, as is that neither has a way back for the count.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from usbwatch.capture.power_supply import is_reading
from usbwatch.model import Fact, Node, Wear
from usbwatch.model.changes import FactChange

__all__ = ["readings_of", "signs_of_another", "wear"]

_RISEN_PERCENT = 15
"""Percent of the design capacity by which a gauge that learns anew may raise its full capacity (no source)."""

_FAMILIES = (("charge", "mAh"), ("energy", "mWh"))

_Facts = Mapping[str, Fact]


def readings_of(nodes: Iterable[Node]) -> _Facts:
    """The readings of the power supply among a battery's nodes; none when there is none."""
    return next((node.facts for node in nodes if node.bus == "power_supply"), {})


def wear(device: str, then: _Facts, now: _Facts, *, same: bool | None, days: int | None) -> Wear | None:
    """The wear of one pack; None when its gauge gives no full or design capacity now."""
    for family, unit in _FAMILIES:
        full, design = _capacity(now, family, "full"), _capacity(now, family, "full_design")
        if full is not None and design is not None:
            alike = same is not False
            return Wear(
                device=device,
                same=same,
                unit=unit,
                design=design,
                full_now=full,
                full_then=_capacity(then, family, "full") if alike else None,
                cycles_now=_cycles(now),
                cycles_then=_cycles(then) if alike else None,
                days=days,
            )
    return None


def signs_of_another(then: _Facts, now: _Facts, *, named: bool) -> tuple[tuple[FactChange, ...], str]:
    """Readings that one pack does not give one after the other, and what is to be said of them; none of either.

    Of a pack ``named`` by its serial number only a falling count is one: its gauge may have learnt its capacity anew.
    """
    cycles = (_cycles(then), _cycles(now))
    if cycles[0] is not None and cycles[1] is not None and cycles[1] < cycles[0]:
        told = FactChange(field="cycle count", before=cycles[0], after=cycles[1])
        return (told,), "a pack's cycle count does not go down, but a gauge that was reset or set anew starts again"
    for family, unit in () if named else _FAMILIES:
        old, new, design = (
            _capacity(then, family, "full"),
            _capacity(now, family, "full"),
            _capacity(now, family, "full_design"),
        )
        if old and new and design and 100 * (new - old) > _RISEN_PERCENT * design:
            told = FactChange(field=f"full capacity in {unit}", before=old, after=new)
            return (told,), "it rose by more than a gauge that learns anew mostly does"
    return (), ""


def _capacity(facts: _Facts, family: str, which: str) -> int | None:
    value = facts.get(f"{family}_{which}")
    return value // 1000 if isinstance(value, int) and is_reading(value) and value >= 1000 else None  # noqa: PLR2004


def _cycles(facts: _Facts) -> int | None:
    """The cycle count; 0 means "not available" (Documentation/ABI/testing/sysfs-class-power), -1 unknown."""
    count = facts.get("cycle_count")
    return count if isinstance(count, int) and count > 0 else None

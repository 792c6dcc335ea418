"""What a battery's readings say: there, silent, worn, calibrated wrongly, or well.

No single field decides. Which readings a pattern rests on is told with it,
and no reading shows that a pack is safe. Zeros: the public ACPI battery
guidance for Windows laptops forbids 0 and all ones for design and full
capacity, and the kernel's ABI says that a cycle count of 0 means "not
available" (Documentation/ABI/testing/sysfs-class-power), so zeros everywhere
are a gauge that does not talk, never a new pack.
"""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.capture.power_supply import is_reading
from usbwatch.compare.scene import Scene, unseen_because
from usbwatch.model import ExpectedDevice, Fact, Finding, Node, Rung, Symptom, Verdict, hangs_on

__all__ = ["WORN_BELOW_PERCENT", "Pattern", "battery_finding", "pattern"]

WORN_BELOW_PERCENT = 60
"""A pack that holds less of its design capacity than this is called worn (common practice, no source)."""

_OVERFULL_PERCENT = 115
"""A learned full capacity above this share of the design cannot be: new packs give a few percent more at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """What the readings of one power supply come to."""

    symptom: Symptom
    told: str


def pattern(facts: dict[str, Fact]) -> Pattern:
    """The pattern in the readings of a battery whose gauge answers (``usbwatch.capture.power_supply``)."""
    full, design, now = _capacity(facts, "full"), _capacity(facts, "full_design"), _capacity(facts, "now")
    percent = round(100 * full / design) if full and design else None
    if percent is None:
        return Pattern(symptom=Symptom.WORKING, told=f"its gauge talks; no wear can be told ({_cycles(facts)})")
    if percent > _OVERFULL_PERCENT or (now and full and now > full * _OVERFULL_PERCENT / 100):
        told = f"its gauge is calibrated wrongly: full {full}, design {design}, now {now}"
        return Pattern(symptom=Symptom.DEGRADED, told=told)
    told = f"holds {percent}% of its design capacity, {_cycles(facts)}"
    if percent < WORN_BELOW_PERCENT:
        return Pattern(symptom=Symptom.DEGRADED, told=f"worn: {told}")
    return Pattern(symptom=Symptom.WORKING, told=told + _charge_told(facts))


def _capacity(facts: dict[str, Fact], which: str) -> int:
    """``charge_*`` in µAh or ``energy_*`` in µWh, whichever the driver offers; 0 where there is none."""
    for family in ("charge", "energy"):
        value = facts.get(f"{family}_{which}")
        if isinstance(value, int) and is_reading(value):
            return value
    return 0


def _cycles(facts: dict[str, Fact]) -> str:
    cycles = facts.get("cycle_count")
    return f"{cycles} cycles" if isinstance(cycles, int) and cycles > 0 else "cycle count not available"


def _charge_told(facts: dict[str, Fact]) -> str:
    """A pack that is told not to charge is not a dead pack."""
    end = facts.get("charge_control_end_threshold")
    if facts.get("status") == "Not charging":
        limit = f"a limit of {end}% is set" if isinstance(end, int) and end < 100 else "limit, temperature or adapter"  # noqa: PLR2004
        return f"; not charging now ({limit})"
    return ""


def battery_finding(device: ExpectedDevice, node: Node, scene: Scene) -> Finding | None:
    """The finding of a battery; None when the node is none."""
    if "battery" not in node.functions:
        return None
    if node.rung is Rung.ABSENT:
        reason = f"firmware finds no pack in the bay (ACPI status {node.facts.get('status')})"
        return _finding(device, node, Verdict.MISSING, Symptom.ABSENT, reason)
    supply = next((other for other in scene.capture.nodes if _supplies(other, node)), None)
    if supply is None:
        return _without_supply(device, node, scene)
    if not supply.rung.reaches(Rung.ADDRESSED):
        # Files that could not be read are no readings: ``judge`` turns this into "unseen" where there were any.
        readings = ", ".join(_reading(supply, name, word) for name, word in _READINGS)
        reason = f"a pack is in the bay but its gauge does not talk ({readings})"
        return _finding(device, node, Verdict.IMPAIRED, Symptom.MUTE, reason)
    found = pattern(supply.facts)
    verdict = Verdict.PRESENT if found.symptom is Symptom.WORKING else Verdict.IMPAIRED
    return _finding(device, node, verdict, found.symptom, found.told)


_READINGS = (("voltage_now", "voltage"), ("charge_full", "full capacity"), ("cycle_count", "cycle count"))


def _reading(supply: Node, name: str, word: str) -> str:
    """One reading in words, from whichever family the driver offers."""
    for spelled in (name, name.replace("charge", "energy")):
        if spelled in supply.facts:
            return f"{word} {supply.facts[spelled]}"
    return f"no {word}"


def _supplies(other: Node, battery: Node) -> bool:
    return other.bus == "power_supply" and hangs_on(other.location, battery.location)


def _without_supply(device: ExpectedDevice, node: Node, scene: Scene) -> Finding:
    if not scene.seen("power_supply"):
        because, would_tell = unseen_because(scene, "power_supply")
        reason = f"firmware finds a pack; its gauge could not be seen ({because})"
        return _finding(device, node, Verdict.UNSEEN, Symptom.UNSEEN, reason, would_tell=would_tell)
    coverage = scene.coverage.get("acpi")
    if coverage is not None and "battery" not in coverage.drivers:
        return _finding(
            device,
            node,
            Verdict.UNSEEN,
            Symptom.UNSEEN,
            "the kernel's battery driver is not loaded",
            would_tell="load the battery driver",
        )
    reason = f"firmware finds a pack (ACPI status {node.facts.get('status')}), but the kernel made no battery of it"
    return _finding(device, node, Verdict.IMPAIRED, Symptom.MUTE, reason)


def _finding(
    device: ExpectedDevice, node: Node, verdict: Verdict, symptom: Symptom, reason: str, *, would_tell: str = ""
) -> Finding:
    return Finding(
        device=device.id,
        verdict=verdict,
        rung=node.rung,
        symptom=symptom,
        reasons=(reason,),
        node=node,
        would_tell=would_tell,
    )

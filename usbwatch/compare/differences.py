"""What differs between two records of the same thing, and which differences say nothing of the part."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from usbwatch.model import Fact, Node
from usbwatch.model.changes import FactChange

__all__ = ["VOLATILE", "Volatile", "differences", "node_differences"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Volatile:
    """A fact that changes by itself."""

    reason: str
    """Why its change says nothing of the part."""
    covers: Callable[[Fact], bool] = lambda _: True
    """Which of its values do so; a change from or to any other value is reported."""


_CHARGE = Volatile(reason="follows the charge of the battery and what the unit draws")
_CABLE = Volatile(reason="follows the network cable and the peer at its other end")
_SLEEP = Volatile(reason="idle devices are let sleep")
_PLUGGED = Volatile(reason="follows what is plugged into the port, and which way round")
_WARMTH = Volatile(reason="follows how warm the unit is")
_COUNTED = Volatile(reason="counts or numbers what was enumerated since the system started")


def _locally_administered(address: Fact) -> bool:
    """IEEE 802: the second lowest bit of the first octet marks an address that software chose."""
    return re.match(r"[0-9a-f][2367abef]:", str(address).lower()) is not None


VOLATILE: Mapping[str, Volatile] = {
    # Documentation/ABI/testing/sysfs-class-power. charge_full, energy_full and cycle_count tell wear, and stay.
    **dict.fromkeys(("voltage_now", "voltage_avg", "voltage_ocv"), _CHARGE),
    **dict.fromkeys(("current_now", "current_avg", "power_now", "power_avg"), _CHARGE),
    **dict.fromkeys(("charge_now", "charge_avg", "charge_counter", "energy_now", "energy_avg"), _CHARGE),
    **dict.fromkeys(("capacity", "capacity_level", "temp", "time_to_empty_now", "time_to_full_now"), _CHARGE),
    # ACPI devices and display connectors have a "status" too, with values of their own.
    "status": Volatile(
        reason=_CHARGE.reason,
        covers=frozenset({"Charging", "Discharging", "Not charging", "Full", "Unknown"}).__contains__,
    ),
    # Documentation/ABI/testing/sysfs-class-net
    **dict.fromkeys(("carrier", "carrier_changes", "operstate"), _CABLE),
    "address": Volatile(reason="systems choose wireless addresses at random", covers=_locally_administered),
    # Documentation/ABI/testing/sysfs-devices-power, sysfs-bus-usb, sysfs-bus-pci; a USB port's "state"
    **dict.fromkeys(("runtime_status", "power_state", "active_duration", "connected_duration"), _SLEEP),
    "state": Volatile(reason=_SLEEP.reason, covers=frozenset({"configured", "suspended"}).__contains__),
    **dict.fromkeys(("busnum", "devnum", "dev", "device_number", "urbnum"), _COUNTED),
    # Documentation/ABI/testing/sysfs-class-typec, sysfs-class-hwmon
    **dict.fromkeys(("data_role", "power_role", "power_operation_mode", "orientation", "vconn_source"), _PLUGGED),
    **dict.fromkeys((f"fan{number}_input" for number in range(1, 10)), _WARMTH),
    "current_link_speed": Volatile(reason="idle PCI links are let run slower"),
    "unread_files": Volatile(reason="follows who was looking"),
    # drivers/gpu/drm/drm_sysfs.c
    "enabled": Volatile(
        reason="follows whether the screen is lit", covers=frozenset({"enabled", "disabled"}).__contains__
    ),
}
"""By name of the fact. ``over_current_count`` is not among them: each count is an event at that port."""

_Facts = dict[str, dict[str, Fact]]


def node_differences(before: Node, after: Node) -> tuple[FactChange, ...]:
    """What differs between two nodes besides their place, without what changes by itself."""
    old, new = _facts_of(before), _facts_of(after)
    volatile = {name for name in VOLATILE.keys() & (before.facts.keys() | after.facts.keys()) if _idle(name, old, new)}
    for facts in (old, new):
        facts["facts"] = {name: fact for name, fact in facts["facts"].items() if name not in volatile}
    return differences(old, new)


def _facts_of(node: Node) -> _Facts:
    told: dict[str, Fact] = {
        "kind": node.kind.value,
        "rung": node.rung.value,
        "identity": node.identity,
        "name": node.name,
        "functions": ", ".join(node.functions),
        "driver": node.driver,
    }
    return {"": told, "facts": node.facts, "raw": dict(node.raw)}


def _idle(name: str, old: _Facts, new: _Facts) -> bool:
    """Whether a volatile fact has only values that say nothing; a reading that comes or goes says nothing either."""
    return all(VOLATILE[name].covers(facts["facts"][name]) for facts in (old, new) if name in facts["facts"])


def differences(before: Mapping[str, object], after: Mapping[str, object]) -> tuple[FactChange, ...]:
    """What differs between two nested records of texts and whole numbers, sorted by path.

    A field is named by its path, joined by full stops. Of what stands under
    ``raw`` not the values are told but their lengths and where they part.
    """
    if before == after:
        return ()
    from deepdiff import DeepDiff

    found = DeepDiff(
        _spelled(before), _spelled(after), view="tree", ignore_private_variables=False, threshold_to_diff_deeper=0
    )
    paths = {tuple(level.path(output_format="list")) for levels in found.values() for level in levels}
    return tuple(_fact_change(path, before, after) for path in sorted(paths))


def _spelled(value: object) -> object:
    """The record with each text on one line: texts of many lines would be compared line by line, at length."""
    if isinstance(value, dict):
        return {key: _spelled(item) for key, item in value.items()}
    return repr(value) if isinstance(value, str) else value


def _fact_change(path: tuple[str, ...], before: Mapping[str, object], after: Mapping[str, object]) -> FactChange:
    old, new = _at(path, before), _at(path, after)
    if path[0] == "raw":
        old, new = _bytes_told(old, new), _bytes_told(new, old)
    return FactChange(field=".".join(path).removeprefix("."), before=old, after=new)


def _at(path: tuple[str, ...], record: Mapping[str, object]) -> Fact | None:
    value: object = record
    for key in path:
        value = value.get(key) if isinstance(value, dict) else None
    assert value is None or isinstance(value, str | int)
    return value


def _bytes_told(value: Fact | None, other: Fact | None) -> str | None:
    """How many bytes a hex text holds, and up to eight of them from the first that ``other`` does not share."""
    if not isinstance(value, str):
        return None
    length = f"{len(value) // 2} bytes"
    if not isinstance(other, str):
        return length
    shorter = min(len(value), len(other))
    offset = next((digit for digit in range(shorter) if value[digit] != other[digit]), shorter) // 2
    rest = value[2 * offset : 2 * offset + 16]
    return f"{length}, from offset {offset}: {rest}" if rest else length

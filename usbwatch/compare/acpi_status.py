"""The status bits of a firmware object in words.

ACPI 6.5 section 6.3.7 (_STA) [from memory]; the same bits stand in
Documentation/ABI/testing/sysfs-bus-acpi. Bit 0 clear with bit 3 set is legal:
a valid object for which no driver is to be loaded. An object without the
method counts as present (drivers/acpi/bus.c).
"""

from __future__ import annotations

from usbwatch.model import Fact

__all__ = ["BATTERY_IN_SLOT", "PRESENT", "status_phrase"]

PRESENT, _ENABLED, _SHOWN, _FUNCTIONING, BATTERY_IN_SLOT = 1, 2, 4, 8, 16

_WORDS = (
    (PRESENT, "present", "not present"),
    (_ENABLED, "enabled", "not enabled"),
    (_SHOWN, "shown", "not shown"),
    (_FUNCTIONING, "functioning", "not functioning"),
)
"""Each bit: what it says when it is set, and when it is not."""


def status_phrase(status: Fact | None, *, battery: bool = False) -> str:
    """All that a status says: ``status 15: present, enabled, shown, functioning``. ``battery``: it has a slot.

    >>> status_phrase(15, battery=True)
    'status 15: present, enabled, shown, functioning, no battery in slot'
    >>> status_phrase(None)
    'no status: firmware claims it is always present'
    """
    if status is None:
        return "no status: firmware claims it is always present"
    if not isinstance(status, int) or status < 0:
        return "a status that is no number"
    words = [plain if status & bit else negated for bit, plain, negated in _WORDS]
    if not status & PRESENT:
        words = ["not present", "yet functioning: no driver is to be loaded"] if status & _FUNCTIONING else words[:1]
    if battery or status & BATTERY_IN_SLOT:
        words.append("battery in slot" if status & BATTERY_IN_SLOT else "no battery in slot")
    further = status & ~(BATTERY_IN_SLOT * 2 - 1)
    return f"status {status}: {', '.join(words)}" + (f", further bits 0x{further:x}" if further else "")

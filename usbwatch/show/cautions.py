"""Which caution belongs to which bench step.

The cautions are common practice of the trade, no source. They are shown beside
the first step that needs them, and once.
"""

from __future__ import annotations

from usbwatch.model import Part, Profile

__all__ = ["BATTERY_FIRST", "CHARGER_OUT", "cautions"]

BATTERY_FIRST = "Disconnect the mains adapter, then the battery, before any connector is touched; ground yourself."

CHARGER_OUT = "A weak battery may let the unit turn off: save your work first. Stop at a swollen, hot or smelling pack."

_BY_FUNCTION = {
    "battery": "Never bend, pierce or heat a lithium pack; stop at a swollen one.",
    "panel": "The backlight supply can injure: no work on an open display while it is powered.",
}
"""What a subassembly, or a link to it, asks for that carries a device of this function."""

_ADAPTER = "Do not open a mains adapter; leave mains work to those licensed for it."


def cautions(part: Part, profile: Profile) -> tuple[str, ...]:
    """The cautions for reseating or replacing ``part``, the one that holds for every part first."""
    touched = {part.id, part.within, *part.joins} - {""}
    functions = {device.function for device in profile.devices if device.within in touched}
    if functions == {"mains-adapter"}:
        return (_ADAPTER,)
    return (BATTERY_FIRST, *(caution for function, caution in _BY_FUNCTION.items() if function in functions))

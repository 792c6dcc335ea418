"""Which caution belongs to which bench step.

The cautions are common practice of the trade, no source.
"""

from __future__ import annotations

from usbwatch.model.profile import Part, Profile

__all__ = ["BATTERY_FIRST", "cautions"]

BATTERY_FIRST = "Disconnect the mains adapter, then the battery, before any connector is touched; ground yourself."

_BY_FUNCTION = {
    "battery": "Never bend, pierce or heat a lithium pack; stop at a swollen one.",
    "panel": "The backlight supply can injure: no work on an open display while it is powered.",
}
"""What a subassembly, or a link to it, asks for that carries a device of this function."""

_ADAPTER = "Do not open a mains adapter; leave mains work to those licensed for it."


def cautions(part: Part, profile: Profile) -> tuple[str, ...]:
    """The cautions for reseating, replacing or measuring ``part``, the one that holds for every part first."""
    touched = {part.id, part.within, *part.joins} - {""}
    functions = {device.function for device in profile.devices if device.within in touched}
    if functions == {"mains-adapter"}:
        return (_ADAPTER,)
    return (BATTERY_FIRST, *(caution for function, caution in _BY_FUNCTION.items() if function in functions))

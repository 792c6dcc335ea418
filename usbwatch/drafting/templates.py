"""The layout templates, and which one is proposed for a unit (common practice, no source)."""

from __future__ import annotations

from usbwatch.drafting.behind_screens import ALL_IN_ONE, DETACHABLE
from usbwatch.drafting.clamshells import CLAMSHELL, SEPARATE
from usbwatch.drafting.layout import Layout

__all__ = ["LAYOUTS", "layout_for"]

LAYOUTS: dict[str, Layout] = {one.id: one for one in (CLAMSHELL, SEPARATE, DETACHABLE, ALL_IN_ONE)}
"""By id, the one that is proposed for what firmware does not tell first."""


def layout_for(chassis_type: str) -> Layout:
    """The template that a unit's SMBIOS chassis type (decimal, SMBIOS 7.4.1) proposes; else the first."""
    return next((one for one in LAYOUTS.values() if chassis_type.strip() in one.chassis_types), CLAMSHELL)

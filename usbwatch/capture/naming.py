"""Names for files of captures: from model and time, with nothing in them that a unit could choose freely."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from usbwatch.model import UnitStrings

__all__ = ["default_name", "slug"]

_LONGEST = 40


def default_name(unit: UnitStrings, moment: datetime, ending: str = "json") -> str:
    """A file name from model and time: ``larch-13-2026-11-24-140500.json``; letters, digits and hyphens only."""
    return f"{slug(unit.product_name)}-{moment:%Y-%m-%d-%H%M%S}.{ending}"


def slug(text: str) -> str:
    """A text as part of a file name: lower-case ASCII letters, digits and hyphens, ``unit`` where none is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower())[:_LONGEST].strip("-") or "unit"

"""Profiles made from captures: what of a unit a profile should expect, and how it is written down. Pure.

The front of this room: ``census(capture)``, ``draft(capture, layout)``,
``draft_of_many(learnt, layout)``, ``text_of(draft)`` and ``updated(text, profile, draft)``.
"""

from usbwatch.drafting.census import Census, LeftOut, Resident, Unfitted, census
from usbwatch.drafting.draft import Draft, Entry, draft
from usbwatch.drafting.from_many import draft_of_many
from usbwatch.drafting.layout import Layout
from usbwatch.drafting.notices import notices
from usbwatch.drafting.templates import LAYOUTS, layout_for
from usbwatch.drafting.updating import Update, updated
from usbwatch.drafting.writing import text_of

__all__ = [
    "LAYOUTS",
    "Census",
    "Draft",
    "Entry",
    "Layout",
    "LeftOut",
    "Resident",
    "Unfitted",
    "Update",
    "census",
    "draft",
    "draft_of_many",
    "layout_for",
    "notices",
    "text_of",
    "updated",
]

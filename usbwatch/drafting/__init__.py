"""Profiles made from captures: what of a unit a profile should expect, and how it is written down. Pure.

The front of this room: ``census(capture)``.
"""

from usbwatch.drafting.census import Census, LeftOut, Resident, Unfitted, census

__all__ = ["Census", "LeftOut", "Resident", "Unfitted", "census"]

"""What the pages of a live watch are made from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from usbwatch.model import Incident, Mark, Profile, Standing, UnitStrings

__all__ = ["LivePage"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePage:
    """A watch as it stands at one moment, or as it ended."""

    began: datetime
    """When it began, in the time zone that it is to be read in."""
    now_ms: int
    """How long it has lasted, or lasted in the end."""
    unit: UnitStrings
    profile: Profile
    standings: tuple[Standing, ...]
    """One per expected device, in the profile's order."""
    incidents: tuple[Incident, ...] = ()
    """Each thing that happened once (``usbwatch.compare.incidents.told_once``), in order."""
    marks: tuple[Mark, ...] = ()
    sources: tuple[str, ...] = ()
    limit_ms: int = 0
    """An absence at least this long is seen for certain; 0 where that is not known."""
    missed: int = 0
    tool: str = ""
    asked_profile: str = ""
    """The profile as it was named on the command line, "" where none was."""

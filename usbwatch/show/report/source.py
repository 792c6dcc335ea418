"""What a report is made from, before and after redaction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from usbwatch.casebook import Story
from usbwatch.model import Capture, Changes, Profile, SinceBaseline
from usbwatch.show.localised import Localised

__all__ = ["Asked", "Compared", "Source"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A unit's captures, weighed, with its history where the casebook has it."""

    localised: Localised
    digests: tuple[str, ...]
    """Of the captures in ``localised.seen``, ``sha256:…``; "" for a look without a capture."""
    told: Story | None = None
    since: SinceBaseline | None = None
    earlier: tuple[tuple[str, Capture], ...] = ()
    """Digest and capture of what was recorded besides those: tokens count from the unit's first entry on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two captures, and what differs between them."""

    before: Capture
    after: Capture
    digests: tuple[str, str]
    changes: Changes
    profile: Profile | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How the report is wanted."""

    made_at: str
    """RFC 3339, UTC."""
    local: Callable[[str], str]
    """From RFC 3339 in UTC to the bench's own clock."""
    identify: bool = False
    """Whether what identifies unit and people is kept."""
    money: bool = False
    """Whether prices and costs are told."""

"""All that one check of one unit came to: what the views and the JSON document are made from."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.model import Capture, Discriminator, Findings, Profile, Suspects

__all__ = ["Checked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A capture, the profile it was compared with, and what followed from that."""

    capture: Capture
    profile: Profile
    findings: Findings
    suspects: Suspects
    tell_apart: tuple[Discriminator, ...] = ()
    """Best first."""
    stops: tuple[str, ...] = ()
    """What is to be done at once, before anything else."""

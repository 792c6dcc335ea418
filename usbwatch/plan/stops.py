"""Dangers that a hand check has shown."""

from __future__ import annotations

from usbwatch.model.findings import Findings
from usbwatch.model.profile import Profile

__all__ = ["stops"]


def stops(findings: Findings, profile: Profile) -> tuple[str, ...]:
    """What is to be done at once, before anything else: the words of the checks whose no means danger."""
    failed = {answer.check for answer in findings.answers if not answer.yes}
    return tuple(check.stop for check in profile.checks if check.id in failed and check.stop)

"""What identifies a unit and people, replaced by stable tokens before anything is rendered."""

from __future__ import annotations

from usbwatch.show.report.source import Compared, Source

__all__ = ["private", "private_comparison"]


def private(source: Source) -> Source:
    """The same without what identifies unit and people."""
    raise NotImplementedError


def private_comparison(source: Compared) -> Compared:
    """The same of a comparison."""
    raise NotImplementedError

"""The words between the pages of ``usbwatch demo``."""

from __future__ import annotations

from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["DEMO_END", "DEMO_START", "DEMO_TYPE", "demo_step_view"]

DEMO_START = (
    "This is a demonstration. Unit, maker, shop and every figure are invented; nothing of this machine is read. "
    "A customer's laptop has come in: keyboard, touchpad and battery seem dead. It was captured on the bench, and the "
    "capture is now checked:"
)

DEMO_TYPE = (
    "That was the demonstration, on invented data. To type such commands yourself, write its captures into a folder; "
    "docs/tutorial.md goes on from there:"
)

DEMO_END = "To check the machine you are sitting at:"


def demo_step_view(text: str, command: str) -> list[Line]:
    """A paragraph, and the command that would give what follows it."""
    return [BLANK, line((text, Style.STRONG)), line("  $ ", (safe(command), Style.HEADING), hang=4), BLANK]

"""What the bench's screen shows while it listens: where, with which code, and each capture as it comes."""

from __future__ import annotations

from datetime import datetime

from usbwatch.show.block_letters import written
from usbwatch.show.check_view import check_view, unit_lines, verdict_lines
from usbwatch.show.checked import Checked
from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe

__all__ = ["arrival_view", "code_view"]


def code_view(code: str) -> list[Line]:
    """The code that a sender must show, large and in plain; it is grouped by a hyphen already."""
    large = (line((f"  {row}", Style.STRONG)) for row in written(code, "█"))
    return [BLANK, *large, BLANK, line("  code ", (safe(code), Style.STRONG)), BLANK]


def arrival_view(checked: Checked, name: str, moment: datetime, when: str, width: int, *, full: bool) -> list[Line]:
    """One capture that came: when, the file, the unit and its verdict, or with ``full`` the whole page of the check."""
    head = line((f"{moment:%H:%M:%S}  ", Style.STRONG), safe(name), hang=2)
    if full:
        return [head, *check_view(checked, width, when), BLANK]
    return [head, *unit_lines(checked, when), *verdict_lines(checked, width), BLANK]

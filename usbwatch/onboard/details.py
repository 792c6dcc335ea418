"""Everything that stands behind the answer: every device by subassembly, the suspects, what was seen and what not."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from usbwatch.onboard.foot import KEYS
from usbwatch.onboard.on_unit import on_unit
from usbwatch.show.lines import BLANK, Line, Style, line

if TYPE_CHECKING:
    from usbwatch.show import Localised

__all__ = ["details_lines"]


def details_lines(localised: Localised, width: int, *, money: bool) -> list[Line]:
    """What the keys do, then the report as a page, with all that identifies the unit: it is only shown here."""
    from usbwatch.cli.taking import local_time, now
    from usbwatch.show.report.making import made
    from usbwatch.show.report.page import report_page
    from usbwatch.show.report.source import Asked, Source

    source = Source(localised=localised, digests=("",) * len(localised.seen))
    asked = Asked(made_at=now(), local=local_time, identify=True, money=money)
    keys = [line((f" {key}  ", Style.STRONG), names[0]) for key, names in KEYS.items()]
    page = (_with_keys(one) for one in report_page(made(source, asked), width))
    return [line(("KEYS", Style.HEADING)), *keys, BLANK, *page]


def _with_keys(one: Line) -> Line:
    return Line(spans=tuple(replace(span, text=on_unit(span.text)) for span in one.spans), hang=one.hang)

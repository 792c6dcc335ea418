"""The findings of a report as CSV (RFC 4180), for a spreadsheet.

A cell that a spreadsheet would take for a formula gets an apostrophe in front
(common practice, no source): what a device calls itself must not be computed.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterator

from usbwatch.show.report.value import Kind, Report

__all__ = ["report_table"]

_FINDINGS = (
    *("subassembly", "device", "state", "reasons", "to see it", "hidden by", "suspicion of subassembly in %"),
    *("hangs on", "suspicion of that in %", "likeliest cause"),
)
_CHANGES = ("subassembly", "what", "change", "where", "differences")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def report_table(report: Report) -> str:
    """One row per expected device, or of a comparison one per change; lines end as RFC 4180 has it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    comparison = report.kind is Kind.COMPARISON
    writer.writerow(_CHANGES if comparison else _FINDINGS)
    writer.writerows([_cell(one) for one in row] for row in (_changes if comparison else _findings)(report))
    return out.getvalue()


def _findings(report: Report) -> Iterator[tuple[str, ...]]:
    for block in report.blocks:
        suspicion = _percent(block.probability)
        links = ", ".join(link.name for link in block.links)
        of_links = _percent(max((link.probability or 0.0 for link in block.links), default=0.0) or None)
        cause = report.cause.name if report.cause else ""
        for device in block.devices:
            reasons = "; ".join(dict.fromkeys(filter(None, [device.got, *device.reasons])))
            yield (
                *(block.name, device.name, device.verdict.value, reasons),
                *(device.would_tell, device.charged_to, suspicion, links, of_links, cause),
            )


def _percent(probability: float | None) -> str:
    return "" if probability is None else str(round(100 * probability))


def _changes(report: Report) -> Iterator[tuple[str, ...]]:
    for one in report.changed:
        yield one.block, one.name, one.word, one.where, "; ".join(one.said)


def _cell(text: str) -> str:
    return f"'{text}" if unicodedata.normalize("NFKC", text).lstrip().startswith(_FORMULA) else text

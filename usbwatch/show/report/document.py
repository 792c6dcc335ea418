"""A report as a JSON document, sealed by a digest over its canonical form (RFC 8785)."""

from __future__ import annotations

from usbwatch.capture.document import digest
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.report.value import Report

__all__ = ["FORMAT", "report_document"]

FORMAT = "usbwatch-report"
_SCHEMA = 1
_IN_TEN_THOUSAND = 10_000


def report_document(report: Report) -> dict[str, Json]:
    """The document; chances are whole numbers in ten thousand, for canonical JSON has one way to write those."""
    document: dict[str, Json] = {"format": FORMAT, "schema": _SCHEMA}
    value = plain_value(report)
    assert isinstance(value, dict)
    document |= {name: _whole(each) for name, each in value.items()}
    document["digest"] = digest(document)
    return document


def _whole(value: Json) -> Json:
    if isinstance(value, float):
        return round(value * _IN_TEN_THOUSAND)
    if isinstance(value, list):
        return [_whole(each) for each in value]
    if isinstance(value, dict):
        return {_key(name): _whole(each) for name, each in value.items()}
    return value


def _key(name: str) -> str:
    """A name says its unit."""
    return "probability_in_10000" if name == "probability" else name

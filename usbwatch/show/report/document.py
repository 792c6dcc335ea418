"""A report as a JSON document, sealed by a digest over its canonical form (RFC 8785)."""

from __future__ import annotations

from usbwatch.capture.document import digest
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.report.value import Report

__all__ = ["FORMAT", "report_document", "report_schema"]

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


def report_schema() -> dict[str, Json]:
    """The JSON Schema (2020-12) of the document, made from the value that it is made from."""
    import msgspec

    schema = _with_units(msgspec.json.schema(Report))
    definitions = schema["$defs"]
    assert isinstance(definitions, dict)
    body = definitions["Report"]
    assert isinstance(body, dict)
    properties, required = body["properties"], body["required"]
    assert isinstance(properties, dict)
    assert isinstance(required, list)
    seal: Json = {
        "type": "string",
        "pattern": "^sha256:[0-9a-f]{64}$",
        "description": "SHA-256 over the RFC 8785 canonical form of this document without this field.",
    }
    body["properties"] = {"format": {"const": FORMAT}, "schema": {"const": _SCHEMA}, "digest": seal, **properties}
    body["required"] = ["format", "schema", "digest", *required]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "usbwatch report", **schema}


def _with_units(schema: dict[str, Json]) -> dict[str, Json]:
    """The schema of the value as the document has it: chances as whole numbers, their names with the unit."""
    return {_key(name): _of_document(each) for name, each in schema.items()}


def _of_document(value: Json) -> Json:
    if value == {"type": "number"}:
        return {"type": "integer", "minimum": 0, "maximum": _IN_TEN_THOUSAND}
    if isinstance(value, dict):
        return _with_units(value)
    if isinstance(value, list):
        return [_of_document(_key(each) if isinstance(each, str) else each) for each in value]
    return value


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

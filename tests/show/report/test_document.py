"""The JSON document of a report: its published schema, and that every report keeps to it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from support.reports import crowded, every_field, report_of

from usbwatch.show import json_text
from usbwatch.show.report.document import report_document, report_schema
from usbwatch.show.report.value import Kind, Report

_SCHEMA = Path(__file__).parents[3] / "docs" / "report.schema.json"


def test_the_published_schema_is_the_one_that_the_program_makes() -> None:
    assert _SCHEMA.read_text(encoding="utf-8") == json_text(report_schema())


def test_the_schema_is_one_of_json_schema_2020_12() -> None:
    jsonschema.Draft202012Validator.check_schema(report_schema())


@pytest.mark.parametrize(
    "report",
    [
        report_of("larch-13-top-case-lost"),
        report_of("larch-13-healthy"),
        report_of("heron-14-touchpad-silent", "brackwell-heron-14"),
        crowded(),
        *(every_field(kind) for kind in Kind),
    ],
    ids=lambda report: f"{report.kind.name.lower()} {report.title[:20]}",
)
def test_every_report_keeps_to_it(report: Report) -> None:
    document = json.loads(json_text(report_document(report)))
    jsonschema.validate(document, report_schema(), jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    "change", [{"format": "usbwatch-capture"}, {"schema": 2}, {"digest": "sha256:x"}, {"verdict": 7}, {"blocks": [1]}]
)
def test_another_document_does_not(change: dict[str, object]) -> None:
    document = json.loads(json_text(report_document(report_of("larch-13-healthy")))) | change
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, report_schema(), jsonschema.Draft202012Validator)


def test_a_chance_is_a_whole_number_whose_name_says_of_what() -> None:
    report = report_of("larch-13-top-case-lost")
    document = json.loads(json_text(report_document(report)))
    assert [one["probability_in_10000"] for one in document["suspects"]] == [
        round(10_000 * one.probability) for one in report.suspects
    ]

"""The shipped JSON Schema: current, right by its own standard, and true of every shipped profile."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from usbwatch.profile import document_schema, schema_text, shipped, to_dict
from usbwatch.profile.reading import load
from usbwatch.profile.schema import SCHEMA_NAME

PROFILES = sorted(shipped("profiles").glob("*.toml"))
RENEW = (
    "renew it: python -c 'from usbwatch.profile import schema_text; print(schema_text(), end=str())' "
    f"> profiles/{SCHEMA_NAME}"
)


def test_the_shipped_schema_is_the_one_made_from_the_shape() -> None:
    assert (shipped("profiles") / SCHEMA_NAME).read_text(encoding="utf-8") == schema_text(), RENEW


def test_it_is_a_schema_of_draft_2020_12() -> None:
    """Checked by jsonschema against the draft's own meta-schema."""
    schema = json.loads(schema_text())
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_every_shipped_profile_satisfies_it(path: Path) -> None:
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    jsonschema.validate(document, document_schema())


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_what_is_exported_satisfies_it(path: Path) -> None:
    jsonschema.validate(to_dict(load(str(path))), document_schema())


def test_it_refuses_what_is_no_profile() -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"format": "usbwatch-capture", "schema": 1}, document_schema())

"""The JSON Schema of profile files, made from their shape.

Shipped as ``profiles/profile.schema.json``, so that an editor can check a
profile while it is written.
"""

from __future__ import annotations

import json

__all__ = ["SCHEMA_NAME", "document_schema", "schema_text"]

SCHEMA_NAME = "profile.schema.json"


def document_schema() -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a profile file's TOML document."""
    import msgspec

    from usbwatch.profile.shape import Document  # needs msgspec

    made = msgspec.json.schema(Document)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "usbwatch profile", **made}


def schema_text() -> str:
    """The schema as the text of the shipped file."""
    return json.dumps(document_schema(), indent=2, ensure_ascii=False) + "\n"

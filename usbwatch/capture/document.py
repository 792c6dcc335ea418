"""A capture as a JSON document with a digest over its RFC 8785 canonical form.

Written with the standard library alone. That gives RFC 8785's bytes because a
capture holds only ASCII keys, strings without lone surrogates, and integers
below 2^53 (RFC 8785 sections 3.2.2 and 3.2.3); ``canonical`` refuses the rest.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import Enum
from typing import Dict, List, Union

from usbwatch.model import CAPTURE_SCHEMA, Capture

__all__ = [
    "FORMAT",
    "LARGEST_INTEGER",
    "Document",
    "Json",
    "canonical",
    "digest",
    "document",
    "plain",
    "text_of",
    "to_json",
]

FORMAT = "usbwatch-capture"
Json = Union[None, bool, int, float, str, List["Json"], Dict[str, "Json"]]
Document = Dict[str, Json]

LARGEST_INTEGER = 2**53 - 1
"""Beyond it a reader of JSON may know a number by halves (RFC 7493, 2.2); it is written as text."""


def plain(value: object) -> Json:
    """Values as JSON knows them: enums by their word, fields that hold their default left out."""
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, int):
        return value if abs(value) <= LARGEST_INTEGER else str(value)
    if isinstance(value, dict):
        return {str(plain(key)): plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(item) for item in value]
    return _fields(value)


def _fields(value: object) -> Document:
    assert is_dataclass(value), value
    items = ((field, getattr(value, field.name)) for field in fields(value))
    return {field.name: plain(item) for field, item in items if not _is_default(field, item)}


def _is_default(field: "Field[object]", item: object) -> bool:
    """Whether a reader would fill in the same without being told."""
    if field.default_factory is not MISSING:
        return item == field.default_factory()
    return field.default is not MISSING and item == field.default


def canonical(plain: Document) -> bytes:
    """RFC 8785 bytes of a document; raises ValueError when it holds no number that JSON knows."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def digest(plain: Document) -> str:
    """``sha256:…`` over the canonical form of a document without its ``digest``."""
    body = {key: value for key, value in plain.items() if key != "digest"}
    return "sha256:" + hashlib.sha256(canonical(body)).hexdigest()


def document(capture: Capture) -> Document:
    """The document of a capture, digest included."""
    plain: Document = {"format": FORMAT, "schema": CAPTURE_SCHEMA, **_fields(capture)}
    plain["digest"] = digest(plain)
    return plain


def to_json(capture: Capture) -> str:
    """The document of a capture as text: one node a line, so that two files compare well by eye."""
    return text_of(document(capture))


def text_of(document: Document) -> str:
    """The same of a document."""
    plain = dict(document)
    nodes = plain.pop("nodes", [])
    assert isinstance(nodes, list)
    head = json.dumps(plain, indent=1, sort_keys=True, ensure_ascii=False)
    lines = ",\n  ".join(json.dumps(node, sort_keys=True, ensure_ascii=False) for node in nodes)
    return f'{head[:-2]},\n "nodes": [\n  {lines}\n ]\n}}\n'

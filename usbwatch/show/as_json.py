"""Results as JSON documents, for other programs: one document, pure ASCII, no escape sequences.

Each document says its ``format`` and its integer ``schema``. The schema is
raised when a reader of the last one would go wrong; new keys may appear without that.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import TypeAlias

from usbwatch.model import Profile, Suspects
from usbwatch.model.changes import Changes
from usbwatch.profile import to_dict
from usbwatch.show.checked import Checked
from usbwatch.show.outcome import outcome, sentence

__all__ = [
    "Json",
    "changes_document",
    "check_document",
    "json_text",
    "plain_value",
    "profile_document",
    "profiles_document",
]

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"

_SCHEMA = 1

_LEFT_OUT = frozenset({"raw"})
"""Fields that no document carries: bytes that stand in the capture already."""


def check_document(checked: Checked) -> dict[str, Json]:
    """A check of one unit as ``usbwatch-check``."""
    capture, profile = checked.capture, checked.profile
    return {
        "format": "usbwatch-check",
        "schema": _SCHEMA,
        "tool": capture.tool,
        "taken_at": capture.taken_at,
        "unit": plain_value(capture.unit),
        "profile": {"id": profile.id, "name": profile.name, "generic": profile.generic, "source": profile.source},
        "outcome": outcome(checked.findings).value,
        "summary": sentence(checked.findings),
        **_fields(checked.findings, without=("profile",)),
        "suspects": _suspects(checked.suspects),
        "tell_apart": plain_value(checked.tell_apart),
        "coverage": plain_value(capture.coverage),
    }


def changes_document(changes: Changes) -> dict[str, Json]:
    """The changes between two captures as ``usbwatch-diff``."""
    return {"format": "usbwatch-diff", "schema": _SCHEMA, "changed": not changes.none, **_fields(changes)}


def profile_document(profile: Profile) -> dict[str, Json]:
    """One profile in full, in the layout of its file: a ``usbwatch-profile`` document."""
    document = plain_value(to_dict(profile))
    assert isinstance(document, dict)
    return document


def profiles_document(profiles: Sequence[Profile]) -> dict[str, Json]:
    """The known profiles as ``usbwatch-profile-list``."""
    return {
        "format": "usbwatch-profile-list",
        "schema": _SCHEMA,
        "profiles": [
            {
                "id": one.id,
                "name": one.name,
                "generic": one.generic,
                "source": one.source,
                "match": plain_value(one.match.strings),
                "devices": len(one.devices),
                "path": one.path,
            }
            for one in profiles
        ],
    }


def json_text(document: dict[str, Json]) -> str:
    """The document as indented ASCII text (RFC 8259), ended by a line feed."""
    text = json.dumps(document, indent=2, allow_nan=False)
    return text.replace("\x7f", "\\u007f") + "\n"


def plain_value(value: object) -> Json:
    """A model value as what JSON knows: enums by their word, lone surrogates as visible escapes."""
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, Enum):
        return plain_value(value.value)
    if isinstance(value, dict):
        return {str(plain_value(str(key))): plain_value(one) for key, one in value.items()}
    if is_dataclass(value):
        return _fields(value)
    if isinstance(value, list | tuple):
        return [plain_value(one) for one in value]
    raise TypeError(type(value).__name__)


def _fields(value: object, without: Sequence[str] = ()) -> dict[str, Json]:
    assert is_dataclass(value)
    names = [field.name for field in fields(value) if field.name not in _LEFT_OUT and field.name not in without]
    return {name: plain_value(getattr(value, name)) for name in names}


def _suspects(suspects: Suspects) -> Json:
    document = _fields(suspects, without=("hypotheses", "parts"))
    document["parts"] = [
        {
            **_fields(one, without=("sites",)),
            "sites": [{**_fields(site), "probability": chance} for site, chance in one.sites],
        }
        for one in suspects.parts
    ]
    document["hypotheses"] = plain_value(suspects.hypotheses[:20])
    return document

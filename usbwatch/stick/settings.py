"""What a stick is told when it is built: one small JSON document, ``settings.json``, which it reads on the unit."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path

from usbwatch.errors import BadSettings

__all__ = ["FORMAT", "SCHEMA", "Settings", "parsed", "read", "to_json"]

FORMAT = "usbwatch-stick"
SCHEMA = 1

_LARGEST_FILE = 100_000
"""Bytes; what a build writes has some 400."""

_UUID = r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"
_UTC = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """One stick: of what it was built, where it keeps captures, and what it may show."""

    built: str
    """When, in UTC, as ``2026-03-02T09:14:00Z``: of the newest of what went in, so that two builds say the same."""
    usbwatch: str
    """The version of usbwatch."""
    kernel: str
    """The kernel's release, as ``uname -r`` has it."""
    data_partition: str
    """Unique GUID of the partition that captures are written to (UEFI Specification, GPT partition entry), in lower
    case: what the kernel calls PARTUUID."""
    profiles: str
    """The folder of the user's own profiles."""
    experience: str | None = None
    """The file with what the shop's closed cases come to; None where none went along."""
    money: bool = False
    """Whether prices and costs may be shown: the owner of the unit may see the screen."""


def to_json(settings: Settings) -> str:
    """The document, as text that ends with a line feed."""
    return json.dumps({"format": FORMAT, "schema": SCHEMA, **asdict(settings)}, indent=1, ensure_ascii=False) + "\n"


def read(path: str) -> Settings:
    """The settings in a file; raises ``BadSettings``, with one sentence, for whatever is no such document."""
    try:
        with Path(path).open("rb") as file:
            data = file.read(_LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadSettings(path, f"cannot be read ({reason})", _REMEDY) from error
    return parsed(data, path)


_REMEDY = "build the stick anew"


def parsed(data: bytes, path: str = "settings.json") -> Settings:
    """The same, of a file's content."""
    if len(data) > _LARGEST_FILE:
        raise BadSettings(path, f"is larger than {_LARGEST_FILE} bytes", _REMEDY)
    try:
        document = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise BadSettings(path, "is no JSON document", _REMEDY) from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise BadSettings(path, f'is no document of a stick: its "format" is not "{FORMAT}"', _REMEDY)
    schema = document.get("schema")
    if isinstance(schema, bool) or schema != SCHEMA:
        problem = f'has a "schema" that this usbwatch does not know (it knows {SCHEMA})'
        raise BadSettings(path, problem, "build the stick anew with this usbwatch")
    return Settings(
        built=_text(document, "built", path, _UTC, "a time in UTC such as 2026-03-02T09:14:00Z"),
        usbwatch=_text(document, "usbwatch", path),
        kernel=_text(document, "kernel", path),
        data_partition=_text(document, "data_partition", path, _UUID, "a GUID in lower case"),
        profiles=_text(document, "profiles", path, "/.*", "an absolute path"),
        experience=None
        if document.get("experience") is None
        else _text(document, "experience", path, "/.*", "an absolute path, or null"),
        money=_flag(document, "money", path),
    )


def _text(document: dict[str, object], key: str, path: str, pattern: str = ".+", what: str = "a text") -> str:
    value = document.get(key)
    if not isinstance(value, str) or not re.fullmatch(pattern, value):
        raise BadSettings(path, f'"{key}" has to be {what}', _REMEDY)
    return value


def _flag(document: dict[str, object], key: str, path: str) -> bool:
    value = document.get(key)
    if not isinstance(value, bool):
        raise BadSettings(path, f'"{key}" has to be true or false', _REMEDY)
    return value

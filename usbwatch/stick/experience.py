"""What the shop's closed cases come to, as it goes along on a stick: by profile, one JSON document."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

from usbwatch.errors import BadSettings
from usbwatch.model import Experience

__all__ = ["FORMAT", "SCHEMA", "experience_json", "read_experience"]

FORMAT = "usbwatch-stick-experience"
SCHEMA = 1

_LARGEST_FILE = 16 * 1024 * 1024
_REMEDY = "build the stick anew"


def experience_json(by_profile: Mapping[str, Experience]) -> str:
    """The document, as text that ends with a line feed."""
    told = {profile: asdict(one) for profile, one in sorted(by_profile.items())}
    return json.dumps({"format": FORMAT, "schema": SCHEMA, "profiles": told}, indent=1, sort_keys=True) + "\n"


def read_experience(path: str, profile: str) -> Experience | None:
    """What the file has for one profile, None for nothing. Raises ``BadSettings`` for what is no such document."""
    import msgspec

    try:
        with Path(path).open("rb") as file:
            data = file.read(_LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadSettings(path, f"cannot be read ({reason})", _REMEDY) from error
    try:
        document = json.loads(data[:_LARGEST_FILE])
        if document["format"] != FORMAT or document["schema"] != SCHEMA:
            raise BadSettings(path, "holds no closed cases that this usbwatch can read", _REMEDY)
        told = document["profiles"].get(profile)
        return None if told is None else msgspec.convert(told, Experience)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, msgspec.ValidationError) as error:
        raise BadSettings(path, "holds no closed cases that can be read", _REMEDY) from error

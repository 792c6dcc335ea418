"""The digest of a profile: what tells two copies apart, and whether one was edited since it was sealed.

``sha256:…`` over the RFC 8785 canonical form of the parsed TOML document
without its ``digest``. So comments, order and layout of a file do not count,
and every value does. It is no signature: whoever edits a profile can seal it
again.
"""

from __future__ import annotations

import hashlib
import json
import math

__all__ = ["canonical", "digest", "short"]

_SHORT = 12


def digest(document: dict[str, object]) -> str:
    """The digest of a document of tables, lists, texts, numbers, true and false; raises ValueError for other values."""
    body = {key: value for key, value in document.items() if key != "digest"}
    return f"sha256:{hashlib.sha256(canonical(body)).hexdigest()}"


def short(digest: str) -> str:
    """The beginning of a digest, enough to tell copies apart by eye or over the telephone."""
    return digest.removeprefix("sha256:")[:_SHORT]


def canonical(value: object) -> bytes:
    """RFC 8785 bytes of a value; raises ValueError for one that JSON does not know."""
    return _text(value).encode("utf-8")


def _text(value: object) -> str:
    if isinstance(value, dict):
        keys = sorted(value, key=_utf16)  # RFC 8785 section 3.2.3: by UTF-16 code units
        return "{" + ",".join(f"{_text(key)}:{_text(value[key])}" for key in keys) + "}"
    if isinstance(value, list):
        return "[" + ",".join(_text(item) for item in value) + "]"
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, str | bool | int):
        return json.dumps(value, ensure_ascii=False)
    raise ValueError(type(value).__name__)


def _utf16(key: str) -> bytes:
    return key.encode("utf-16-be")


_MOST_PLAIN_DIGITS, _LEAST_EXPONENT = 21, -6
"""ECMA-262, Number::toString: outside these an exponent is written."""


def _number(value: float) -> str:
    """RFC 8785 section 3.2.2.3: as ECMAScript writes a number, with the digits that Python's ``repr`` finds too."""
    if not math.isfinite(value):
        raise ValueError("no number")
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    first, rest, power = _scientific(abs(value))
    digits, point = first + rest, power + 1
    if len(digits) <= point <= _MOST_PLAIN_DIGITS:
        return sign + digits + "0" * (point - len(digits))
    if 0 < point <= _MOST_PLAIN_DIGITS:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if _LEAST_EXPONENT < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    fraction = f".{rest}" if rest else ""
    return f"{sign}{first}{fraction}e{'+' if power > 0 else '-'}{abs(power)}"


def _scientific(value: float) -> tuple[str, str, int]:
    """First digit, further digits and power of ten of the shortest text that gives ``value`` back."""
    from decimal import Decimal

    _, digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    assert isinstance(exponent, int)
    text = "".join(map(str, digits))
    return text[0], text[1:], exponent + len(text) - 1

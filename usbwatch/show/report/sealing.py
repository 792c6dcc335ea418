"""The seal at the end of a report: a line with the SHA-256 (FIPS 180-4) of all bytes before it.

It shows that a report is as it was made. It is no signature: whoever alters a
report can seal it again. A JSON report has the same in its ``digest``
(``document``); a table carries none, for a line more would spoil it.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Literal

__all__ = ["Seal", "Sealed", "seal_of", "sealed"]

Sealed = Literal["html", "text", "csv"]

_LINES = {"html": "<!-- usbwatch-report sha256:{} -->\n", "text": "sealed sha256:{}\n"}
_LINE = re.compile(rb"(?:<!-- usbwatch-report sha256:([0-9a-f]{64}) -->|^sealed sha256:([0-9a-f]{64}))$", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """A seal that was found, and whether it holds."""

    told: str
    """``sha256:…`` as the seal has it."""
    holds: bool
    """Whether that is the digest of all before it, and nothing comes after it."""
    line_ends_alone: bool = False
    """Whether nothing but the ends of lines differs from what was sealed: CR LF for LF, as mail programs write them."""


def sealed(text: str, kind: Sealed) -> str:
    """``text`` with its seal as the last line; a table stays as it is. ``text`` is to be written in UTF-8."""
    if kind == "csv":
        return text
    body = text if text.endswith("\n") else f"{text}\n"
    return body + _LINES[kind].format(hashlib.sha256(body.encode("utf-8")).hexdigest())


def seal_of(content: bytes) -> Seal | None:
    """The seal of an HTML or text report, the last where there are several; None where there is none."""
    told, holds = _read(content)
    if told and not holds:
        with_lf = content.replace(b"\r\n", b"\n")
        return Seal(told=told, holds=False, line_ends_alone=with_lf != content and _read(with_lf)[1])
    return Seal(told=told, holds=True) if told else None


def _read(content: bytes) -> tuple[str, bool]:
    """The digest that the last seal tells, "" without one, and whether it holds."""
    lines = list(_LINE.finditer(content.replace(b"\r\n", b"\n\n")))  # a CR LF keeps its two places
    if not lines:
        return "", False
    found = lines[-1]
    told = (found[1] or found[2]).decode()
    actual = hashlib.sha256(content[: found.start()]).hexdigest()
    return f"sha256:{told}", told == actual and content[found.end() :] == b"\n"

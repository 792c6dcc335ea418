r"""Kernel logs in the journal's export format (systemd, JOURNAL_EXPORT_FORMATS).

An entry is a run of fields, closed by an empty line. A field is ``NAME=value``
or, when its value holds a line feed or anything unprintable, its name alone on
a line, then 8 bytes little endian with the length, the bytes, a line feed. So
a message with a line feed in it stays one value, whatever follows that.

The text was made of bytes with ``backslashreplace``: a ``\x9f`` in it is a
byte, or the four characters that a device wrote. The longer reading decides
how far a value goes, so that reading on never begins within it.
"""

from __future__ import annotations

import re
from typing import Dict, List, Optional, Tuple

from usbwatch.capture.log.json_forms import journal_record
from usbwatch.capture.log.records import Record

__all__ = ["journal_export"]

_NAME = re.compile(r"[A-Z_][A-Z0-9_]{0,63}")
_ESCAPE = re.compile(r"\\x[89a-f][0-9a-f]")
_LENGTH_BYTES = 8


def journal_export(text: str) -> Optional[List[Record]]:
    """The kernel's records of an exported journal, None for text of any other form."""
    found: List[Record] = []
    entry: Dict[str, str] = {}
    at = 0
    while at < len(text):
        end = text.find("\n", at)
        end = len(text) if end < 0 else end
        name = _NAME.match(text, at, end)
        if name is None and end > at:
            return None
        if name is None:
            _close(found, entry)
            entry, at = {}, end + 1
        elif text.startswith("=", name.end()):
            entry.setdefault(name.group(), text[name.end() + 1 : end])
            at = end + 1
        elif name.end() == end:
            value, at = _binary(text, end + 1)
            entry.setdefault(name.group(), value)
        else:
            return None
    _close(found, entry)
    return found


def _close(found: List[Record], entry: Dict[str, str]) -> None:
    record = journal_record(entry)
    if record is not None:
        found.append(record)


def _binary(text: str, at: int) -> Tuple[str, int]:
    """The value of a binary field that begins at ``at``, and where reading goes on; "" when it cannot be told."""
    head, start = _bytes(text, at, _LENGTH_BYTES)
    size = int.from_bytes(head, "little")
    plain = text[start : start + size]
    if plain.isascii() and not _ESCAPE.search(plain):
        return plain, start + size + 1
    value, end = _bytes(text, start, size)
    if _ESCAPE.search(text, start, end):
        line = text.find("\n", end)
        return "", len(text) if line < 0 else line + 1
    return value.decode("utf-8", "backslashreplace"), end + 1


def _bytes(text: str, at: int, size: int) -> Tuple[bytes, int]:
    r"""At most ``size`` bytes from ``at`` on, a ``\xNN`` above 0x7f read as one byte; and where they end."""
    found = bytearray()
    while len(found) < size and at < len(text):
        escape = _ESCAPE.match(text, at)
        if escape:
            found += bytes.fromhex(escape.group()[2:])
            at = escape.end()
        else:
            found += text[at].encode("utf-8", "backslashreplace")
            at += 1
    return bytes(found), at

"""Whether a report is as it was made, and on which captures it rests. Bytes in, values out."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

from usbwatch.capture.document import FORMAT as CAPTURE_FORMAT
from usbwatch.capture.document import Json, digest
from usbwatch.errors import BadReport
from usbwatch.show.report.document import FORMAT
from usbwatch.show.report.sealing import seal_of

__all__ = ["Verified", "verified"]

_REMEDY = "give a report that usbwatch report wrote as HTML, text or JSON"
_DIGEST = re.compile(rb"sha256:[0-9a-f]{64}")
_TAGS_AND_SPACES = re.compile(rb"<[^<>]{0,2000}>|\s+")
_HEAD = 4096
_TABLE = (b"subassembly,device,", b"subassembly,what,", b'"subassembly"')

_BY_BROWSER = "somebody altered it, or a browser saved it anew: verify the file itself, as it was handed over"
_BY_MAIL = (
    "nothing but the ends of its lines differs, as mail programs change them: ask for it again, packed in an archive"
)
_NO_SEAL = "the seal at its end is gone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What the seal of a report says."""

    holds: bool
    """Whether the report is as it was made, or as whoever sealed it last left it."""
    seal: str = ""
    """``sha256:…`` as the report has it, "" where the seal is gone."""
    captures: tuple[str, ...] = ()
    """Digests of captures that it names."""
    hint: str = ""
    """How it may have been altered without anybody wanting it, as one phrase."""


def verified(content: bytes, path: str) -> Verified:
    """What the seal of a report says; ``path`` is only for the sentence of the ``BadReport`` that it raises else."""
    if not content.strip():
        raise BadReport(path, "is empty", _REMEDY)
    if content.lstrip().startswith(b"{"):
        return _of_json(content, path)
    seal = seal_of(content)
    if seal is None:
        return _without_seal(content, path)
    hint = _BY_MAIL if seal.line_ends_alone else _BY_BROWSER if _is_page(content) else ""
    return Verified(
        holds=seal.holds,
        seal=seal.told,
        captures=_named(content, seal.told),
        hint="" if seal.holds else hint,
    )


def _named(content: bytes, seal: str) -> tuple[str, ...]:
    """The digests of the captures that a report rests on, from where it names them and from nowhere else.

    A device may call itself anything, so a digest in any other place says nothing. In a text one may be broken over
    two lines.
    """
    if _is_page(content):
        found = _CAPTURES_OF_PAGE.findall(content)
    else:
        made = content.rpartition(_HOW_MADE)[2].replace(seal.encode(), b"")
        found = _DIGEST.findall(_TAGS_AND_SPACES.sub(b"", made))
    return tuple(dict.fromkeys(each.decode() for each in found))


_CAPTURES_OF_PAGE = re.compile(rb'<meta name="usbwatch-capture" content="(sha256:[0-9a-f]{64})">')
_HOW_MADE = b"\nHOW THIS WAS MADE\n"


def _is_page(content: bytes) -> bool:
    return b"<html" in content[:_HEAD].lower() or b"<!doctype html" in content[:_HEAD].lower()


def _without_seal(content: bytes, path: str) -> Verified:
    if content.removeprefix(b"\xef\xbb\xbf").startswith(_TABLE):
        remedy = "verify the same report as HTML, text or JSON"
        raise BadReport(path, "is a table (CSV), which carries no seal", remedy)
    if b"usbwatch" in content and (_is_page(content) or b"HOW THIS WAS MADE" in content):
        return Verified(holds=False, hint=f"{_NO_SEAL}; {_BY_BROWSER}" if _is_page(content) else _NO_SEAL)
    raise BadReport(path, "is no report of usbwatch", _REMEDY)


def _of_json(content: bytes, path: str) -> Verified:
    try:
        document = json.loads(content.decode("utf-8"), object_pairs_hook=_once)
    except (ValueError, RecursionError):
        if f'"{FORMAT}"'.encode() in content[:_HEAD]:
            return Verified(holds=False, hint="it is not even JSON any more")
        raise BadReport(path, "is no report, and no JSON that can be read", _REMEDY) from None
    found = document.get("format")
    if found == CAPTURE_FORMAT:
        raise BadReport(path, "is a capture, not a report", "name the report first: --verify REPORT CAPTURE")
    if found != FORMAT:
        raise BadReport(path, f'is JSON, but its "format" is not "{FORMAT}"', _REMEDY)
    told = document.get("digest")
    seal = told if isinstance(told, str) and _DIGEST.fullmatch(told.encode("utf-8", "replace")) else ""
    return Verified(
        holds=bool(seal) and seal == _digest(document),
        seal=seal,
        captures=tuple(_looks(document)),
    )


def _once(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    """An object, each name once: of a name given twice, readers show the one or the other (RFC 8259 section 4)."""
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name twice")
    return found


def _digest(document: dict[str, Json]) -> str:
    try:
        return digest(document)
    except (ValueError, RecursionError):
        return ""


def _looks(document: dict[str, Json]) -> list[str]:
    looks = document.get("looks")
    found = [one.get("digest") for one in looks if isinstance(one, dict)] if isinstance(looks, list) else []
    return [one for one in found if isinstance(one, str) and one]

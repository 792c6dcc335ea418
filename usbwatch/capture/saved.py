"""Captures read from files: checked to the last field before anything believes them."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass

from usbwatch.capture.document import FORMAT, LARGEST_INTEGER, Document, Json, canonical, document, text_of
from usbwatch.capture.opening import READ_ONLY
from usbwatch.errors import AlteredCapture, BadCapture
from usbwatch.model import CAPTURE_SCHEMA, Capture, Watch

__all__ = [
    "LARGEST_FILE",
    "LONGEST_WATCH_MS",
    "MOST_IN_WATCHES",
    "MOST_WATCHES",
    "Saved",
    "content_of",
    "json_schema",
    "load",
    "load_saved",
    "parse",
    "parse_saved",
    "saved_of",
    "saved_of_content",
]

LARGEST_FILE = 64 * 1024 * 1024
_LONGEST_LOCATION = 1000
MOST_WATCHES = 100
MOST_IN_WATCHES = 200_000
LONGEST_WATCH_MS = 31 * 86_400_000
_LATE_MS = 60_000
"""What is still noticed while watching ends."""
_AGAIN = "capture the unit again"
_JOURNAL = b'{"format":"usbwatch-watch-journal"'


def load(path: str) -> Capture:
    """The capture in a file. Raises ``BadCapture`` with one sentence for anything else."""
    return parse(content_of(path), path)


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A capture with the document that it was read from, which may hold more than this program reads."""

    capture: Capture
    content: bytes
    """The canonical form of the document without its digest: what the digest is of."""

    @property
    def digest(self) -> str:
        """``sha256:…``, by which two files are known to hold the same capture."""
        return "sha256:" + hashlib.sha256(self.content).hexdigest()

    @property
    def text(self) -> str:
        """The document as a file has it."""
        import json

        return text_of({**json.loads(self.content), "digest": self.digest})


def load_saved(path: str) -> Saved:
    """The capture in a file, with its document. Raises ``BadCapture``."""
    return parse_saved(content_of(path), path)


def saved_of(capture: Capture) -> Saved:
    """A capture that was just taken, with the document that it would be written as."""
    plain = document(capture)
    del plain["digest"]
    return Saved(capture=capture, content=canonical(plain))


def saved_of_content(content: bytes, name: str) -> Saved:
    """The capture whose canonical form without digest this is; ``name`` for the sentence of a ``BadCapture``."""
    digits = hashlib.sha256(content).hexdigest().encode()
    return parse_saved(content.rstrip()[:-1] + b',"digest":"sha256:' + digits + b'"}', name)


def content_of(path: str) -> bytes:
    """The bytes of a regular file that is no larger than any capture. Raises ``BadCapture``."""
    try:
        handle = os.open(path, READ_ONLY)
    except OSError as error:
        raise BadCapture(path, f"cannot be opened ({error.strerror})", "check the name and its permissions") from None
    except ValueError:
        raise BadCapture(path, "has a name that no file can have") from None
    try:
        _refuse_oddities(path, os.fstat(handle))
        content = b"".join(iter(lambda: os.read(handle, LARGEST_FILE), b""))
    except OSError as error:
        raise BadCapture(path, f"cannot be read ({error.strerror})", "copy it again") from None
    finally:
        os.close(handle)
    return content


def _refuse_oddities(path: str, status: os.stat_result) -> None:
    """Raise ``BadCapture`` for what cannot be a capture file, before any of it is read."""
    if stat.S_ISDIR(status.st_mode):
        raise BadCapture(path, "is a folder", "give a capture file, or --root for a copied tree")
    if not stat.S_ISREG(status.st_mode):
        raise BadCapture(path, "is no regular file", "give a capture file")
    if status.st_size > LARGEST_FILE:
        raise BadCapture(path, f"is larger than {LARGEST_FILE // 1024**2} MiB", "give a capture file")


def parse(content: bytes, path: str) -> Capture:
    """The capture that ``content`` holds; ``path`` is only for the sentence of a ``BadCapture``."""
    return parse_saved(content, path).capture


def parse_saved(content: bytes, path: str) -> Saved:
    """The same with its document."""
    import msgspec

    if not content.strip():
        raise BadCapture(path, "is empty", _AGAIN)
    try:
        plain = msgspec.json.decode(content)
    except RecursionError:
        raise BadCapture(path, "is nested deeper than any capture", "give a file that capture wrote") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        if content.startswith(_JOURNAL) or not content.lstrip().startswith(b"{"):
            raise BadCapture(path, *_seems(content, path)) from None
        cut = " and ends in the middle" if "truncated" in str(error) else ""
        raise BadCapture(path, f"is no JSON document{cut} ({error})", _AGAIN) from None
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise BadCapture(path, *_seems(content, path))
    _check_schema(path, plain)
    body = _checked_body(path, plain)
    _refuse_huge_numbers(path, plain, body)
    try:
        capture = msgspec.convert(plain, Capture, strict=True)
    except RecursionError:
        raise BadCapture(path, "is nested deeper than any capture", "give a file that capture wrote") from None
    except msgspec.ValidationError as error:
        raise BadCapture(path, f"does not have the shape of a capture: {error}", _AGAIN) from None
    if any(len(node.location) > _LONGEST_LOCATION for node in capture.nodes):
        raise BadCapture(path, f"has a location of more than {_LONGEST_LOCATION} characters", _AGAIN)
    if len({(node.bus, node.location) for node in capture.nodes}) < len(capture.nodes):
        raise BadCapture(path, "has two nodes of one bus at one location", _AGAIN)
    _refuse_odd_watches(path, capture.watches)
    return Saved(capture=capture, content=body)


_MANY_DIGITS = re.compile(rb"[0-9]{16}")


def _refuse_huge_numbers(path: str, plain: Document, body: bytes) -> None:
    """Raise ``BadCapture`` for an integer that no capture is written with (RFC 7493, 2.2: within 2^53 - 1)."""
    waiting: list[Json] = [plain] if _MANY_DIGITS.search(body) else []
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += one.values()
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, int) and abs(one) > LARGEST_INTEGER:
            raise BadCapture(path, "has a number beyond those that every reader of JSON knows exactly", _AGAIN)


def _refuse_odd_watches(path: str, watches: Sequence[Watch]) -> None:
    """Raise ``BadCapture`` for watches that no watching can have made."""
    told = sum(len(watch.events) + len(watch.marks) + len(watch.watched) + len(watch.slept) for watch in watches)
    if len(watches) > MOST_WATCHES or told > MOST_IN_WATCHES:
        much = f"more than {MOST_WATCHES} watches, or {MOST_IN_WATCHES} events, marks, places and suspensions in them"
        raise BadCapture(path, f"holds {much}", "watch the unit again, for a shorter time")
    for number, watch in enumerate(watches, 1):
        odd = _odd_in(watch)
        if odd:
            raise BadCapture(path, f"has {odd} in watch {number}", "watch the unit again")


def _odd_in(watch: Watch) -> str:
    """What cannot be in a watch, "" where all can."""
    times = [*(each.at_ms for each in watch.events), *(each.at_ms for each in watch.marks), *watch.slept]
    counts = [watch.lasted_ms, watch.limit_ms, watch.missed, *times]
    for each in watch.events:
        counts += (each.away_ms, each.unseen_ms, each.speed_kbps, each.was_kbps, each.kernel_us)
    if min(counts) < 0:
        return "a time, speed or count below 0"
    if watch.lasted_ms > LONGEST_WATCH_MS:
        return f"more than {LONGEST_WATCH_MS // 86_400_000} days"
    if max(times, default=0) > watch.lasted_ms + _LATE_MS:
        return "an event, mark or suspension after its end"
    places = (*watch.watched, *(each.location for each in watch.events))
    if any(len(place) > _LONGEST_LOCATION for place in places):
        return f"a location of more than {_LONGEST_LOCATION} characters"
    return ""


_PACKED = {
    b"\x1f\x8b": "gzip",
    b"PK\x03\x04": "zip",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
}
"""How compressed files begin (RFC 1952, RFC 8878, and the formats' own descriptions)."""


_TAR_MAGIC = slice(257, 262)
"""Where a tar archive says what it is (POSIX.1-2017, pax, ustar Interchange Format)."""


def _seems(content: bytes, path: str) -> tuple[str, str]:
    """What a file that is no JSON document seems to be, and what to do with it: nothing is wrong with the unit then."""
    if content.startswith(_JOURNAL):
        return (
            "is the journal of a watch that was cut off",
            "make its record with usbwatch watch --recover and this name",
        )
    if content.lstrip()[:1] in (b"{", b"["):
        return f'is JSON, but its "format" is not "{FORMAT}"', "give a file that capture wrote"
    if content[_TAR_MAGIC] == b"ustar" or _packs_tar(content):
        return "is an archive of a copied tree", f"give it as --root {path}"
    packed = next((name for mark, name in _PACKED.items() if content.startswith(mark)), "")
    if packed:
        return f"is compressed ({packed})", "unpack it and give the capture file inside"
    if any(line.replace(b" ", b"").startswith(b'format="usbwatch-profile"') for line in content[:20_000].splitlines()):
        return "is a profile, not a capture", "name it with --profile, or with usbwatch profile show or validate"
    return "is not a capture file, which is JSON and begins with {", "give a file that usbwatch capture wrote"


def _packs_tar(content: bytes) -> bool:
    """Whether gzip packs a tar archive, by its first block."""
    if not content.startswith(b"\x1f\x8b"):
        return False
    import zlib

    try:
        return zlib.decompressobj(wbits=31).decompress(content, _TAR_MAGIC.stop)[_TAR_MAGIC] == b"ustar"
    except zlib.error:
        return False


def _check_schema(path: str, plain: Document) -> None:
    schema = plain.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool):
        raise BadCapture(path, 'has no "schema" number', _AGAIN)
    if schema != CAPTURE_SCHEMA:
        problem = f"is written in schema {schema}, and this usbwatch reads schema {CAPTURE_SCHEMA}"
        raise BadCapture(path, problem, "use a newer usbwatch" if schema > CAPTURE_SCHEMA else _AGAIN)


def _checked_body(path: str, plain: Document) -> bytes:
    """The canonical form of a document without its digest, once that is known to be of it."""
    try:
        body = canonical({key: value for key, value in plain.items() if key != "digest"})
    except (ValueError, RecursionError):
        body = b""
    if not body or plain.get("digest") != "sha256:" + hashlib.sha256(body).hexdigest():
        raise AlteredCapture(path, "has been altered or damaged since it was written (its digest does not fit)", _AGAIN)
    return body


def json_schema() -> Document:
    """The JSON Schema (2020-12) of a capture document, made from the types that read it."""
    import msgspec

    schema: Document = msgspec.json.schema(Capture)
    definitions = schema["$defs"]
    assert isinstance(definitions, dict)
    body = definitions["Capture"]
    assert isinstance(body, dict)
    properties, required = body["properties"], body["required"]
    assert isinstance(properties, dict)
    assert isinstance(required, list)
    body["properties"] = {
        "format": {"const": FORMAT},
        "schema": {"const": CAPTURE_SCHEMA},
        "digest": {
            "type": "string",
            "pattern": "^sha256:[0-9a-f]{64}$",
            "description": "SHA-256 over the RFC 8785 canonical form of this document without this field.",
        },
        **properties,
    }
    body["required"] = ["format", "schema", "digest", *required]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "usbwatch capture", **schema}

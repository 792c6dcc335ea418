"""Which requests are taken, told by their heads alone: values in, a value out.

RFC 9110 is HTTP's semantics, RFC 9112 HTTP/1.1 on the wire. What h11 refuses
by itself (a missing or second Host, two lengths that differ, an unknown
transfer coding) is not repeated here.

A web page that the technician has open could make the browser post here. A
browser says where the page is from (``Origin``), asks before it sends such a
content type (a preflight, which is refused), and names the host that it took
the address for, so that a name that was pointed at this machine shows
(``Host``).
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

__all__ = ["BodyKind", "Head", "Order", "Refusal", "ordered"]

_PATH = b"/capture"
_DIGITS = re.compile(rb"[0-9]{1,15}\Z")
_PORT = re.compile(r":[0-9]{0,5}\Z")


class BodyKind(Enum):
    """What a body is said to be."""

    CAPTURE = "capture"
    ARCHIVE = "archive"


_KINDS = {
    "application/json": BodyKind.CAPTURE,
    "application/x-tar": BodyKind.ARCHIVE,
    "application/gzip": BodyKind.ARCHIVE,
    "application/x-gzip": BodyKind.ARCHIVE,
}
"""By media type. None of these can be sent by a web page without a preflight (Fetch standard, CORS-safelisted)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A request's head; names of fields in lower case, as h11 gives them."""

    method: bytes
    target: bytes
    version: bytes
    fields: Sequence[tuple[bytes, bytes]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A request that may be taken: what it sends, how much (None: not told), and the code that it shows."""

    kind: BodyKind
    length: int | None
    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A request that is not taken: the status and one sentence, with more fields for the answer."""

    status: int
    sentence: str
    fields: tuple[tuple[str, str], ...] = ()


def ordered(head: Head, largest: int) -> Order | Refusal:
    """What a request's head asks for, or why it is not taken."""
    for rule in (_target, _host, _from_a_page, _framing):
        refused = rule(head)
        if refused is not None:
            return refused
    kind = _kind(head)
    if isinstance(kind, Refusal):
        return kind
    length = _length(head, largest)
    if isinstance(length, Refusal):
        return length
    return Order(kind=kind, length=length, code=_code(head))


def _values(head: Head, name: bytes) -> list[bytes]:
    return [value for key, value in head.fields if key == name]


def _text(value: bytes) -> str:
    return value.decode("latin-1").strip()


def _target(head: Head) -> Refusal | None:
    """RFC 9112 section 3.2.2: a server must take the absolute form as well; only the path counts."""
    path = head.target
    if path.lower().startswith(b"http://"):
        path = b"/" + path[len("http://") :].partition(b"/")[2]
    if path != _PATH:
        return Refusal(status=404, sentence="nothing is here; captures are posted to /capture")
    if head.method != b"POST":
        return Refusal(status=405, sentence="captures are posted here (POST)", fields=(("Allow", "POST"),))
    return None


def _host(head: Head) -> Refusal | None:
    hosts = _values(head, b"host")
    if len(hosts) != 1:
        return Refusal(status=400, sentence="exactly one Host field is needed; use an HTTP client")
    if not _is_address(_text(hosts[0])):
        return Refusal(status=421, sentence="name this machine by its address (in numbers), and not by a name")
    return None


def _is_address(host: str) -> bool:
    """Whether a Host is an address or localhost: no name, for what a name points at is another's choice."""
    name = host if host.endswith("]") else _PORT.sub("", host, count=1)
    if name.lower() == "localhost":
        return True
    bare = name[1:-1] if name.startswith("[") and name.endswith("]") else name
    try:
        return bool(ipaddress.ip_address(bare))
    except ValueError:
        return False


def _from_a_page(head: Head) -> Refusal | None:
    """Fetch standard: browsers put Origin into every POST, and Fetch Metadata into what they send to this machine."""
    if any(key in (b"origin", b"sec-fetch-site", b"sec-fetch-mode") for key, _ in head.fields):
        return Refusal(status=403, sentence="web pages may not send captures; use the kit, or curl")
    return None


def _framing(head: Head) -> Refusal | None:
    """RFC 9112 section 6.1: a length beside a transfer coding may be smuggling, and in HTTP/1.0 a coding is faulty."""
    coded, sized = _values(head, b"transfer-encoding"), _values(head, b"content-length")
    if coded and sized:
        return Refusal(status=400, sentence="Content-Length and Transfer-Encoding exclude each other; send one")
    if coded and head.version < b"1.1":
        return Refusal(status=400, sentence="HTTP/1.0 has no Transfer-Encoding; send a Content-Length")
    if len(coded) > 1:
        return Refusal(status=400, sentence="send one Transfer-Encoding")
    if any(_text(value).lower() != "identity" for value in _values(head, b"content-encoding")):
        return Refusal(status=415, sentence="a Content-Encoding is not undone; name a packed archive application/gzip")
    return None


def _kind(head: Head) -> BodyKind | Refusal:
    types = _values(head, b"content-type")
    kind = _KINDS.get(_text(types[0]).partition(";")[0].strip().lower()) if len(types) == 1 else None
    if kind is None:
        sentence = (
            "say what it is: Content-Type application/json for a capture,"
            " application/x-tar or application/gzip for a collector's archive"
        )
        return Refusal(status=415, sentence=sentence, fields=(("Accept", ", ".join(_KINDS)),))
    return kind


def _length(head: Head, largest: int) -> int | Refusal | None:
    sized = _values(head, b"content-length")
    if not sized:
        return None if _values(head, b"transfer-encoding") else Refusal(status=411, sentence="send a Content-Length")
    if len(set(sized)) > 1 or not _DIGITS.match(sized[0].strip()):
        return Refusal(status=400, sentence="the Content-Length is no number")
    length = int(sized[0])
    if length > largest:
        return Refusal(status=413, sentence=f"it is larger than {largest // 1024**2} MiB, as no capture is")
    return length or Refusal(status=400, sentence="it is empty; send the capture file as the body")


def _code(head: Head) -> str:
    """RFC 6750 section 2.1: ``Authorization: Bearer`` and the code."""
    shown = _values(head, b"authorization")
    scheme, _, code = _text(shown[0]).partition(" ") if len(shown) == 1 else ("", "", "")
    return code if scheme.lower() == "bearer" else ""

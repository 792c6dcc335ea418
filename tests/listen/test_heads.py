"""Which requests are taken, held to RFC 9110, RFC 9112 and the Fetch standard."""

from __future__ import annotations

import pytest

from usbwatch.listen.heads import BodyKind, Head, Order, Refusal, ordered

_GOOD = {b"host": b"127.0.0.1:7613", b"content-type": b"application/json", b"content-length": b"12"}
_LARGEST = 1000


def _head(
    changed: dict[bytes, bytes | None] | None = None,
    *more: tuple[bytes, bytes],
    method: bytes = b"POST",
    target: bytes = b"/capture",
    version: bytes = b"1.1",
) -> Head:
    fields = {**_GOOD, **(changed or {})}
    kept = [(key, value) for key, value in fields.items() if value is not None]
    return Head(method=method, target=target, version=version, fields=(*kept, *more))


_TAKEN = {
    "a capture": (_head(), BodyKind.CAPTURE, 12),
    "with a charset": (_head({b"content-type": b"Application/JSON; charset=utf-8"}), BodyKind.CAPTURE, 12),
    "an archive": (_head({b"content-type": b"application/x-tar"}), BodyKind.ARCHIVE, 12),
    "a packed archive": (_head({b"content-type": b"application/gzip"}), BodyKind.ARCHIVE, 12),
    "localhost": (_head({b"host": b"LocalHost:7613"}), BodyKind.CAPTURE, 12),
    "an IPv6 address": (_head({b"host": b"[::1]:7613"}), BodyKind.CAPTURE, 12),
    "an IPv6 address with a zone": (_head({b"host": b"[fe80::1%eth0]"}), BodyKind.CAPTURE, 12),
    "the absolute form, RFC 9112 3.2.2": (_head(target=b"http://127.0.0.1/capture"), BodyKind.CAPTURE, 12),
    "chunked": (_head({b"content-length": None}, (b"transfer-encoding", b"chunked")), BodyKind.CAPTURE, None),
    "identity": (_head({}, (b"content-encoding", b"identity")), BodyKind.CAPTURE, 12),
}


@pytest.mark.parametrize(("head", "kind", "length"), _TAKEN.values(), ids=_TAKEN)
def test_what_is_taken(head: Head, kind: BodyKind, length: int | None) -> None:
    assert ordered(head, _LARGEST) == Order(kind=kind, length=length, code="")


_REFUSED = {
    "another path": (_head(target=b"/"), 404),
    "a path that climbs": (_head(target=b"/capture/../../etc/passwd"), 404),
    "a query": (_head(target=b"/capture?file=/etc/passwd"), 404),
    "GET, RFC 9110 15.5.6": (_head(method=b"GET"), 405),
    "OPTIONS, a browser's preflight": (_head(method=b"OPTIONS"), 405),
    "no Host, RFC 9112 3.2": (_head({b"host": None}), 400),
    "two Hosts, RFC 9112 3.2": (_head({}, (b"host", b"127.0.0.1")), 400),
    "a name for a Host: DNS rebinding": (_head({b"host": b"bench.example:7613"}), 421),
    "a name that looks like an address": (_head({b"host": b"127.0.0.1.example"}), 421),
    "an empty Host": (_head({b"host": b""}), 421),
    "Origin, Fetch standard": (_head({}, (b"origin", b"http://127.0.0.1")), 403),
    "Origin null": (_head({}, (b"origin", b"null")), 403),
    "Fetch Metadata": (_head({}, (b"sec-fetch-site", b"same-origin")), 403),
    "length and coding, RFC 9112 6.1": (_head({}, (b"transfer-encoding", b"chunked")), 400),
    "a coding in HTTP/1.0, RFC 9112 6.1": (
        _head({b"content-length": None}, (b"transfer-encoding", b"chunked"), version=b"1.0"),
        400,
    ),
    "two codings": (
        _head({b"content-length": None}, (b"transfer-encoding", b"chunked"), (b"transfer-encoding", b"chunked")),
        400,
    ),
    "a coded content": (_head({}, (b"content-encoding", b"gzip")), 415),
    "a form: a page may send it unasked": (_head({b"content-type": b"application/x-www-form-urlencoded"}), 415),
    "plain text: a page may send it unasked": (_head({b"content-type": b"text/plain"}), 415),
    "multipart: a page may send it unasked": (_head({b"content-type": b"multipart/form-data"}), 415),
    "no type": (_head({b"content-type": None}), 415),
    "two types": (_head({}, (b"content-type", b"application/json")), 415),
    "no length, RFC 9110 15.5.12": (_head({b"content-length": None}), 411),
    "two lengths, RFC 9112 6.3": (_head({}, (b"content-length", b"13")), 400),
    "a length below zero": (_head({b"content-length": b"-1"}), 400),
    "a length with a sign": (_head({b"content-length": b"+12"}), 400),
    "a length in other digits": (_head({b"content-length": "\u0661".encode()}), 400),
    "a length of nothing": (_head({b"content-length": b"0"}), 400),
    "a length beyond the limit, RFC 9110 15.5.14": (_head({b"content-length": b"1001"}), 413),
    "a length of thirty digits": (_head({b"content-length": b"9" * 30}), 400),
}


@pytest.mark.parametrize(("head", "status"), _REFUSED.values(), ids=_REFUSED)
def test_what_is_refused(head: Head, status: int) -> None:
    refused = ordered(head, _LARGEST)
    assert isinstance(refused, Refusal)
    assert refused.status == status
    assert refused.sentence


def test_a_wrong_method_is_told_the_right_one() -> None:
    """RFC 9110 section 15.5.6: 405 comes with Allow."""
    refused = ordered(_head(method=b"PUT"), _LARGEST)
    assert isinstance(refused, Refusal)
    assert ("Allow", "POST") in refused.fields


@pytest.mark.parametrize(
    ("shown", "code"),
    [(b"Bearer K7PM-4RTX", "K7PM-4RTX"), (b"bearer x", "x"), (b"Basic eA==", ""), (b"Bearer", ""), (b"", "")],
)
def test_the_code_is_a_bearer_token(shown: bytes, code: str) -> None:
    """RFC 6750 section 2.1; a scheme is compared without case, RFC 9110 section 11.1."""
    taken = ordered(_head({}, (b"authorization", shown)), _LARGEST)
    assert isinstance(taken, Order)
    assert taken.code == code


def test_two_codes_are_none() -> None:
    taken = ordered(_head({}, (b"authorization", b"Bearer a"), (b"authorization", b"Bearer b")), _LARGEST)
    assert isinstance(taken, Order)
    assert taken.code == ""

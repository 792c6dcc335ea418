"""The seal of a report. FIPS 180-4's own example ("abc") and every single-byte change are the outside checks."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from usbwatch.show.report.sealing import Sealed, seal_of, sealed

_KINDS: tuple[Sealed, ...] = ("html", "text")


def _holds(content: bytes) -> bool:
    seal = seal_of(content)
    return seal is not None and seal.holds


@pytest.mark.parametrize(
    ("kind", "line"), [("html", "<!-- usbwatch-report sha256:{} -->\n"), ("text", "sealed sha256:{}\n")]
)
def test_the_seal_is_one_line_with_the_digest_of_all_before_it(kind: Sealed, line: str) -> None:
    body = "<p>Fernhill Larch 13</p>\n"
    assert sealed(body, kind) == body + line.format(hashlib.sha256(body.encode()).hexdigest())


def test_the_digest_is_sha_256_as_its_standard_has_it() -> None:
    """FIPS 180-4 as its example of one block has it, in NIST's "SHA-256 examples": the message "abc" (from memory)."""
    standard = b"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert _holds(b"abc" + b"<!-- usbwatch-report sha256:" + standard + b" -->\n")


@pytest.mark.parametrize("kind", _KINDS)
def test_every_single_byte_change_is_told(kind: Sealed) -> None:
    content = sealed("Fernhill Larch 13\r\nwith odd … letters\n", kind).encode()
    assert _holds(content)
    for place in range(len(content)):
        for bit in range(8):
            changed = content[:place] + bytes([content[place] ^ 1 << bit]) + content[place + 1 :]
            assert not _holds(changed), (place, bit)
        assert not _holds(content[:place] + content[place + 1 :]), place


@pytest.mark.parametrize("kind", _KINDS)
@pytest.mark.parametrize("more", [b"\n", b" ", b"<p>more</p>", b"\nmore\n"])
def test_nothing_may_follow_the_seal(kind: Sealed, more: bytes) -> None:
    assert not _holds(sealed("Larch 13\n", kind).encode() + more)


@pytest.mark.parametrize("kind", _KINDS)
def test_line_ends_that_mail_turned_into_cr_lf_are_told_as_such(kind: Sealed) -> None:
    content = sealed("Larch 13\nTop-case flex\n", kind).encode()
    seal = seal_of(content.replace(b"\n", b"\r\n"))
    assert seal is not None
    assert (seal.holds, seal.line_ends_alone) == (False, True)
    more = seal_of(content.replace(b"flex", b"case").replace(b"\n", b"\r\n"))
    assert more is not None
    assert (more.holds, more.line_ends_alone) == (False, False)


def test_a_table_carries_no_seal() -> None:
    assert sealed("a,b\r\n1,2\r\n", "csv") == "a,b\r\n1,2\r\n"
    assert seal_of(b"a,b\r\n1,2\r\n") is None


def test_a_report_that_quotes_a_seal_is_held_to_its_own() -> None:
    quoted = sealed("another report\n", "text")
    assert _holds(sealed(f"quotes:\n{quoted}and goes on", "html").encode())


@pytest.mark.properties
@given(st.text(), st.sampled_from(_KINDS))
def test_what_was_sealed_holds(text: str, kind: Sealed) -> None:
    try:
        content = sealed(text, kind).encode()
    except UnicodeEncodeError:
        return
    assert _holds(content)


@pytest.mark.properties
@given(st.binary())
def test_any_bytes_have_a_seal_that_holds_or_not_or_none(content: bytes) -> None:
    seal = seal_of(content)
    assert seal is None or seal.told.startswith("sha256:")

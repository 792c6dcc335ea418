"""Hostile senders: the server stays up, within its memory, and takes the good capture that comes in their midst."""

from __future__ import annotations

import contextlib
import gzip
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.listening import CAPTURES, Server, listening, posted

from usbwatch.capture import load
from usbwatch.kit.posting import post
from usbwatch.listen.notices import Notices

pytestmark = pytest.mark.slow

_LOST = CAPTURES / "larch-13-top-case-lost.json"
_PEAK_KIB = 100 * 1024
"""KiB that the server's own process may take at most, the interpreter included, whatever comes.

64 connections with two buffers of 64 KiB each are 8 MiB; the rest is Python and the program.
"""
_QUICK: dict[str, Any] = {"head_s": 1.0, "idle_s": 1.0, "grace_s": 1.0, "body_s": 5.0, "answer_s": 1.0}


def _good(server: Server) -> None:
    """The good capture is taken now, and whole; a sender may be told to come again."""
    said = post(_LOST.read_bytes(), f"127.0.0.1:{server.port}", server.code)
    name = said.partition(" as ")[2].partition(",")[0]
    assert load(str(server.folder / name)) == load(str(_LOST))


def _well(server: Server) -> None:
    """It runs, takes the good one, has kept to its memory, and nothing else is in the folder."""
    _good(server)
    assert server.process.poll() is None
    assert server.peak_kib() < _PEAK_KIB
    assert "bug" not in server.notices
    assert "Traceback" not in server.notices
    server.said(r"(\{.*\})\n", on="results")
    assert [name for name in server.files() if not name.startswith("larch-13-")] == []


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """One server that many bad requests are sent to, one after the other; it takes a good one before and after them."""
    with listening(tmp_path_factory.mktemp("shared"), **_QUICK) as server:
        _well(server)
        yield server
        _well(server)


def _alive(server: Server) -> None:
    """As ``_well`` without the start of a process that reads a capture: it answers, and nothing was kept."""
    assert server.asked(b"GET /capture HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n").startswith(b"HTTP/1.1 405 ")
    assert server.process.poll() is None
    assert server.peak_kib() < _PEAK_KIB
    assert "Traceback" not in server.notices
    assert all(name.startswith("larch-13-") for name in server.files())


_CHUNKED = (
    b"POST /capture HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n"
)
_BAD: dict[str, tuple[bytes, bytes]] = {
    "garbage": (bytes(range(256)) * 40, b"400"),
    "a TLS client hello, RFC 8446 4.1.2": (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200), b"400"),
    "HTTP/0.9": (b"GET /\r\n\r\n", b"400"),
    "HTTP/2's preface, RFC 9113 3.4": (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", b"4"),
    "HTTP/9.9": (b"POST /capture HTTP/9.9\r\nHost: 127.0.0.1\r\n\r\n", b"4"),
    "CONNECT": (b"CONNECT 127.0.0.1:22 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", b"404"),
    "a head without end": (b"POST /capture HTTP/1.1\r\nX: " + b"x" * 200_000, b"431"),
    "ten thousand fields": (b"POST /capture HTTP/1.1\r\n" + b"X: y\r\n" * 10_000 + b"\r\n", b"431"),
    "a NUL in a field": (posted(b"{}", "X: a\0b"), b"400"),
    "a blank before the colon, RFC 9112 5.1": (posted(b"{}", "X : y"), b"400"),
    "two lengths that differ, RFC 9112 6.3": (posted(b"{}", "Content-Length: 7"), b"400"),
    "length and coding: smuggling, RFC 9112 6.1": (posted(b"0\r\n\r\n", "Transfer-Encoding: chunked"), b"400"),
    "coding and length in another order": (_CHUNKED + b"Content-Length: 5\r\n\r\n0\r\n\r\n", b"400"),
    "an unknown coding, RFC 9112 6.1": (posted(b"{}", "Transfer-Encoding: gzip, chunked"), b"501"),
    "chunked twice": (posted(b"{}", "Transfer-Encoding: chunked, chunked"), b"501"),
    "a coding that hides": (posted(b"{}", "Transfer-Encoding: \x0bchunked"), b"4"),
    "a chunk of a length that is none": (_CHUNKED + b"\r\nzz\r\n{}\r\n0\r\n\r\n", b"400"),
    "a chunk below zero": (_CHUNKED + b"\r\n-2\r\n{}\r\n0\r\n\r\n", b"400"),
    "a chunk of 2^80 bytes": (_CHUNKED + b"\r\n" + b"f" * 20 + b"\r\n" + b" " * 1000, b"400"),
    "a chunk longer than it says": (_CHUNKED + b"\r\n1\r\n{}}}\r\n0\r\n\r\n", b"400"),
    "a chunk's extension without end": (_CHUNKED + b"\r\n1;" + b"x" * 200_000, b"431"),
    "trailers without end": (_CHUNKED + b"\r\n2\r\n{}\r\n0\r\n" + b"X: y\r\n" * 50_000, b"431"),
    "chunks of a byte": (_CHUNKED + b"\r\n" + b"1\r\n \r\n" * 5000, b"400"),
    "nothing in chunks": (_CHUNKED + b"\r\n0\r\n\r\n", b"400"),
    "a body that is cut": (posted(b"{" * 50, length=100), b"400"),
    "too large, declared": (posted(b"{", length=64 * 1024 * 1024 + 1), b"413"),
    "a page in the browser": (posted(_LOST.read_bytes(), "Origin: http://127.0.0.1:7613"), b"403"),
    "a name that points here": (posted(_LOST.read_bytes()).replace(b"127.0.0.1", b"bench.example", 1), b"421"),
    "a path that climbs": (posted(_LOST.read_bytes()).replace(b"/capture", b"/../../etc/cron.d/x", 1), b"404"),
    "a path in escapes": (posted(_LOST.read_bytes()).replace(b"/capture", b"/capture/%2e%2e%2fx", 1), b"404"),
    "no capture": (posted(b'{"format": "other"}'), b"422"),
    "no JSON": (posted(b"{usbwatch-capture" * 10_000), b"422"),
    "numbers without end": (posted(b'{"format": "usbwatch-capture", "schema": ' + b"9" * 1_000_000 + b"}"), b"422"),
    "nested a million deep": (posted(b'["usbwatch-capture",' + b"[" * 1_000_000), b"422"),
    "no archive": (posted(b"not a tar" * 1000, kind="application/x-tar"), b"422"),
    "a gzip bomb": (posted(gzip.compress(bytes(300 * 1024 * 1024), 9), kind="application/gzip"), b"422"),
}


@pytest.mark.parametrize(("request_bytes", "status"), _BAD.values(), ids=_BAD)
def test_a_bad_request_is_refused_and_good_ones_are_taken_after_it(
    shared: Server, request_bytes: bytes, status: bytes
) -> None:
    answer = _ended(shared, request_bytes)
    assert answer.startswith(b"HTTP/1.1 " + status)
    assert b"\r\nHTTP/1.1 " not in answer
    _alive(shared)


def _ended(server: Server, request: bytes) -> bytes:
    """The answer to bytes after which the sender says no more."""
    with server.connect() as connection, contextlib.suppress(ConnectionError):
        connection.sendall(request)
        connection.shutdown(socket.SHUT_WR)
        return connection.makefile("rb").read()
    return b""


def test_what_comes_behind_a_request_is_never_read_as_another(shared: Server) -> None:
    """Pipelining, RFC 9112 section 9.3.2: one request, one answer, and the connection is closed (section 9.6)."""
    before = set(shared.files())
    healthy = (CAPTURES / "plover-12-healthy.json").read_bytes()
    answer = shared.asked(posted(_LOST.read_bytes()) + posted(healthy) * 5)
    assert answer.count(b"HTTP/1.1 ") == 1
    assert not [name for name in set(shared.files()) - before if name.startswith("plover")]
    _alive(shared)


_PATHS = ("../../evil.json", "/etc/cron.d/evil", "..\\..\\evil", "evil\0.json", "C:\\evil.json", "~/evil", "a" * 5000)
_NAMES = (
    'Content-Disposition: attachment; filename="{}"',
    "Slug: {}",
    "Content-Location: {}",
    "X-Filename: {}",
    "Referer: {}",
    "User-Agent: {}",
)


@pytest.mark.parametrize("path", _PATHS, ids=range(len(_PATHS)))
def test_no_name_from_a_sender_becomes_a_files(shared: Server, path: str) -> None:
    shared.asked(posted(_LOST.read_bytes(), *(name.format(path) for name in _NAMES)))
    _alive(shared)
    assert list(shared.folder.parent.rglob("*evil*")) == []


def test_a_model_that_is_a_path_becomes_letters(tmp_path: Path) -> None:
    from dataclasses import replace

    capture = load(str(_LOST))
    unit = replace(capture.unit, product_name="../../\x1b[2J/evil", product_serial="\x1b]0;x\x07")
    with listening(tmp_path) as server:
        assert b" 201 " in server.asked(posted(replace(capture, unit=unit)))
        server.said(r"(\{.*\})\n", on="results")
        (name,) = server.files()
        assert name.startswith("2j-evil-")
        assert "\x1b" not in server.results + server.notices


def test_a_head_that_trickles_is_ended(tmp_path: Path) -> None:
    with listening(tmp_path, **_QUICK) as server, server.connect() as connection:
        answer = b""
        with contextlib.suppress(ConnectionError):
            for letter in posted(b"{}") * 1000:
                connection.sendall(bytes([letter]))
                connection.settimeout(0.05)
                with contextlib.suppress(TimeoutError):
                    answer = connection.recv(4096)
                    break
        assert answer.startswith(b"HTTP/1.1 408 ")
        _well(server)


@pytest.mark.parametrize("how", ["stops", "trickles"])
def test_a_body_that_is_too_slow_is_ended_and_nothing_of_it_stays(tmp_path: Path, how: str) -> None:
    with listening(tmp_path, **_QUICK) as server, server.connect() as connection:
        connection.sendall(posted(b"{", length=1_000_000))
        connection.settimeout(0.05)
        answer = b""
        while not answer:
            with contextlib.suppress(TimeoutError):
                answer = connection.recv(4096)
            if how == "trickles" and not answer:
                connection.sendall(b" ")
        assert answer.startswith(b"HTTP/1.1 408 ")
        _well(server)


def test_a_body_beyond_the_limit_is_ended_however_it_comes(tmp_path: Path) -> None:
    with listening(tmp_path, largest=5_000_000, **_QUICK) as server:
        declared = server.asked(posted(b"{" + b" " * 5_000_000))
        chunk = b"10000\r\n" + b" " * 65_536 + b"\r\n"
        undeclared = server.asked(_CHUNKED + b"\r\n" + chunk * 200)
        assert declared.startswith(b"HTTP/1.1 413 ")
        assert undeclared.startswith(b"HTTP/1.1 413 ") or undeclared == b"", (
            "or it was still sending when that was said"
        )
        server.said(r"refused: (it is larger than)", times=2)
        _well(server)


def test_the_largest_that_is_taken_costs_the_server_no_memory(tmp_path: Path) -> None:
    """64 MiB of brackets: what reads them has a process of its own, which ends over it."""
    with listening(tmp_path, keep_s=5.0) as server:
        answer = server.asked(posted(b'["usbwatch-capture"' + b",[]" * (64 * 1024 * 1024 // 3 - 10) + b"]"))
        assert answer.startswith(b"HTTP/1.1 422 ")
        _well(server)


def test_a_capture_that_takes_too_long_is_ended_and_others_are_taken_meanwhile(tmp_path: Path) -> None:
    with listening(tmp_path, keep_s=0.01) as server:
        assert b"it could not be read within the time" in server.asked(posted(_LOST.read_bytes()))
        assert server.process.poll() is None
        assert server.files() == []


def test_a_check_that_takes_too_long_leaves_the_capture_kept(tmp_path: Path) -> None:
    with listening(tmp_path, judge_s=0.001) as server:
        assert b" 201 " in server.asked(posted(_LOST.read_bytes()))
        server.said(r"is kept, and not checked: (its check did not come to an end in time)")
        assert len(server.files()) == 1


# --- Many at once ------------------------------------------------------------------------------------


@contextlib.contextmanager
def _hostile(server: Server, count: int) -> Iterator[None]:
    """So many senders at once, from a process of their own, until the end of the block."""
    process = subprocess.Popen(
        [sys.executable, "-m", "support.hostile_senders", str(server.port), str(count)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": ":".join(filter(None, sys.path))},
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"all are sending\n"
        yield
        assert process.poll() is None
    finally:
        process.kill()
        process.communicate()


@pytest.mark.parametrize("address", ["127.0.0.1", "0.0.0.0"], ids=["without a code", "with a code"])
def test_two_hundred_hostile_senders_keep_no_good_one_out(tmp_path: Path, address: str) -> None:
    with listening(tmp_path, address=address) as server, _hostile(server, 200):
        server.said(r"(dropped to make room)")
        names = ("larch-13-healthy", "heron-14-healthy")
        for name in names:
            content = (CAPTURES / f"{name}.json").read_bytes()
            code = server.code
            said = post(content, f"127.0.0.1:{server.port}", code)
            kept = said.partition("as ")[2].partition(",")[0]
            assert load(str(server.folder / kept)) == load(str(CAPTURES / f"{name}.json"))
            if code:
                _shown_anew(server, code)
        assert server.peak_kib() < _PEAK_KIB
        assert "Traceback" not in server.notices
        assert len([name for name in server.files() if name.endswith(".json")]) == len(names)


def _shown_anew(server: Server, code: str) -> None:
    until = time.monotonic() + 60
    while server.code == code:
        assert time.monotonic() < until
        time.sleep(0.02)


def test_a_server_held_up_by_idle_connections_takes_the_good_one_first(tmp_path: Path) -> None:
    """More idle connections than there are places, opened before it; none of them is ended by its own deadline."""
    with listening(tmp_path, head_s=600, connections=16) as server:
        idle = [server.connect() for _ in range(60)]
        _well(server)
        for connection in idle:
            connection.close()


def test_senders_with_a_right_to_send_are_not_dropped_for_others(tmp_path: Path) -> None:
    with listening(tmp_path, connections=8, receiving=4) as server, server.connect() as slow:
        request = posted(_LOST.read_bytes())
        slow.sendall(request[:-10])
        while not server.files():
            pass
        for _ in range(50):
            with server.connect() as connection:
                connection.sendall(b"POST")
        slow.sendall(request[-10:])
        assert b" 201 " in slow.makefile("rb").read()


def test_a_used_code_takes_nobodys_place(tmp_path: Path) -> None:
    """Who has had its turn may say the same again, and is held up by others of its kind alone."""
    body = _LOST.read_bytes()
    with listening(tmp_path, address="0.0.0.0") as server, contextlib.ExitStack() as open_:
        used = server.code
        assert b" 201 " in server.asked(posted(body, code=used))
        _shown_anew(server, used)
        again = [open_.enter_context(server.connect()) for _ in range(12)]
        for connection in again:
            connection.sendall(posted(body[:-1], length=len(body), code=used))
        answers = [connection.recv(4096) for connection in again[1:]]
        assert all(answer.startswith(b"HTTP/1.1 503 ") and b"Retry-After" in answer for answer in answers)
        healthy = (CAPTURES / "larch-13-healthy.json").read_bytes()
        assert b" 201 " in server.asked(posted(healthy, code=server.code))
        again[0].sendall(body[-1:])
        assert again[0].recv(4096).startswith(b"HTTP/1.1 200 ")
        assert b" 200 " in server.asked(posted(body, code=used)), "the place is free again"


def test_nothing_acknowledged_is_lost_when_it_is_killed_in_a_flood(tmp_path: Path) -> None:
    with listening(tmp_path) as server, _hostile(server, 20):
        names = ("larch-13-healthy", "heron-14-healthy", "larch-13-repaired")
        said = {name: post((CAPTURES / f"{name}.json").read_bytes(), f"127.0.0.1:{server.port}") for name in names}
        server.process.kill()
        for name, answer in said.items():
            kept = answer.partition("as ")[2].partition(",")[0]
            assert load(str(server.folder / kept)) == load(str(CAPTURES / f"{name}.json"))


@pytest.mark.properties
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.one_of(st.integers(0, 120), st.integers(0, 3000)), put=st.binary(max_size=20), cut=st.integers(0, 40))
def test_any_change_to_a_good_request_leaves_the_server_well(shared: Server, at: int, put: bytes, cut: int) -> None:
    """What is acknowledged is the good capture, or nothing: a capture has a digest."""
    request = posted(_LOST.read_bytes())
    at %= len(request)
    answer = _ended(shared, request[:at] + put + request[at + cut :])
    assert not answer or answer.startswith(b"HTTP/1.1 ")
    assert all(load(str(path)) == load(str(_LOST)) for path in shared.folder.glob("*.json"))
    assert shared.process.poll() is None


# --- A full disk -----------------------------------------------------------------------------------------


def test_a_folder_that_takes_nothing_is_told_to_the_sender(tmp_path: Path) -> None:
    """RFC 4918 section 11.5: 507 (Insufficient Storage)."""
    with listening(tmp_path) as server:
        server.folder.rename(tmp_path / "gone")
        answer = server.asked(posted(_LOST.read_bytes()))
        assert answer.startswith(b"HTTP/1.1 507 ")
        (tmp_path / "gone").rename(server.folder)
        _well(server)


def test_a_disk_that_is_full_at_the_last_byte_is_told_to_the_sender(tmp_path: Path) -> None:
    """A body that fits a buffer reaches the disk when all of it is there.

    A limit on the size of a file (setrlimit(2)) stands for the full disk: the last write answers, as there.
    """
    import resource

    with listening(tmp_path) as server:
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (4000, resource.RLIM_INFINITY))
        answer = server.asked(posted(b'{"format":"usbwatch-capture"' + b" " * 6000))
        assert answer.startswith(b"HTTP/1.1 507 ")
        assert answer.endswith(b"usbwatch: the bench cannot write: File too large\n")
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        server.said(r"refused: (the bench cannot write)")
        _well(server)


# --- Notices --------------------------------------------------------------------------------------------------


def test_a_flood_of_refusals_is_summed_up() -> None:
    told: list[str] = []
    now = [0.0]
    notices = Notices(told.append, lambda: now[0])
    for number in range(1000):
        notices.add("203.0.113.7", "the code is wrong" if number % 2 else f"reason {number}")
    assert len(told) == 5
    now[0] = 11.0
    notices.add("203.0.113.7", "the code is wrong")
    assert told[5].startswith("995 more were refused, and told: the code is wrong (498 times); ")
    assert len(told) == 7


def test_what_a_sender_says_of_itself_is_made_safe(tmp_path: Path) -> None:
    with listening(tmp_path) as server:
        server.asked(b"\x1b[2J\x9b31m \r\n\r\n")
        server.said(r"127\.0\.0\.1 refused: (that is not HTTP/1\.1)")
        assert "\x1b" not in server.notices
        assert os.linesep in server.notices

"""Targets: what comes over a cable: requests to ``usbwatch listen``, answers to a kit; and what libusb lists."""

from __future__ import annotations

import asyncio
import http.client
import io
import struct
from dataclasses import replace
from unittest.mock import patch

from fuzz.files import in_memory
from fuzz.structure import in_lines
from fuzz.target import Broken, Target, clean
from support.fake_libusb import FakeLibusb, Part, part, root_hub

from usbwatch.capture import to_json
from usbwatch.capture.portable import take_portable
from usbwatch.capture.saved import parse
from usbwatch.kit.posting import NotPosted, post
from usbwatch.listen.codes import Gate
from usbwatch.listen.exchange import Exchange
from usbwatch.listen.limits import Limits
from usbwatch.listen.notices import Notices
from usbwatch.listen.work import Arrival, Job, Kept, NotKept
from usbwatch.show import capture_view, plain

__all__ = ["TARGETS"]

_CODE = "K7PM4RTX"
_FAST = Limits(head_s=2, idle_s=2, body_s=2, answer_s=2, largest=100_000, head_bytes=4096)


class _Desk:
    """A bench that keeps nothing: every body that comes so far is refused by its reader."""

    limits = _FAST

    def __init__(self) -> None:
        self.folder = in_memory() / "spool"
        self.folder.mkdir(exist_ok=True)
        self.gate = Gate(asks=True, same=True)
        self.gate.code = _CODE
        self.said: list[str] = []
        self.notices = Notices(self.said.append, lambda: 0.0)

    def room(self) -> bool:
        return True

    def room_again(self) -> bool:
        return True

    async def started(self, arrival: Arrival) -> Job:
        arrival.path.read_bytes()
        raise NotKept(422, "it is no capture of this test")

    def kept(self, _kept: Kept, _arrival: Arrival, _job: Job) -> None:
        raise Broken("a body is kept that nobody read")

    def new_code(self) -> None:
        raise Broken("a code is used up by nothing")


class _Writer:
    """What is sent back."""

    def __init__(self) -> None:
        self.sent = bytearray()
        self.transport = self

    def write(self, data: bytes) -> None:
        self.sent += data

    async def drain(self) -> None:
        return

    def write_eof(self) -> None:
        return

    def close(self) -> None:
        return

    def abort(self) -> None:
        return

    def get_extra_info(self, _name: str) -> tuple[str, int]:
        return "192.168.7.9", 5


async def _served(data: bytes, desk: _Desk) -> bytes:
    reader, writer = asyncio.StreamReader(), _Writer()
    reader.feed_data(data)
    reader.feed_eof()
    await Exchange(reader, writer, desk).run()  # type: ignore[arg-type] # as much of a writer as it needs
    return bytes(writer.sent)


def _request(data: bytes) -> None:
    """Whatever comes is answered once, or the connection is closed; nothing stays in the folder."""
    desk = _Desk()
    answer = asyncio.run(_served(data, desk))
    clean("".join(desk.said))
    left = [path.name for path in desk.folder.iterdir()]
    if left:
        raise Broken(f"something stays in the folder: {left}")
    final = answer.removeprefix(b"HTTP/1.1 100 \r\n\r\n")
    if not final:
        return
    head, _, body = final.partition(b"\r\n\r\n")
    whole = b"Content-Length: %d\r\n" % len(body) in head
    bodiless = data.startswith(b"HEAD ") and not body  # whose answer has the length alone (RFC 9110, section 9.3.2)
    if not head.startswith((b"HTTP/1.1 4", b"HTTP/1.1 501 ")) or not (whole or bodiless):
        raise Broken(f"not one refusal: {final[:200]!a}")
    clean(body.decode())


def _requests() -> list[bytes]:
    head = "POST /capture HTTP/1.1\r\nHost: 192.168.7.1:7613\r\nAuthorization: Bearer {}\r\nContent-Type: {}\r\n"
    capture = b'{\n "format": "usbwatch-capture"}'
    first = head.format(_CODE, "application/json").encode()
    return [
        first + b"Content-Length: %d\r\n\r\n" % len(capture) + capture,
        first + b"Expect: 100-continue\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n\x1f\x8b\x08ab\r\n0\r\n\r\n",
        head.format("x", "application/gzip").encode() + b"Origin: http://x\r\nContent-Length: 5\r\n\r\nabcde",
        b"GET / HTTP/1.0\r\n\r\n",
    ]


class _Socket(io.BytesIO):
    """A connection on which the answer has come already."""

    def makefile(self, _mode: str) -> io.BytesIO:
        return io.BytesIO(self.getvalue())

    def settimeout(self, _seconds: float) -> None:
        return

    def sendall(self, _data: bytes) -> None:
        return


def _answer(data: bytes) -> None:
    """What a bench, or something else at its address, answers to a kit is one clean line."""

    class Connection(http.client.HTTPConnection):
        def connect(self) -> None:
            self.sock = _Socket(data)

    with patch.object(http.client, "HTTPConnection", Connection):
        said = post(b"{}", "192.168.7.1", "x", patience_s=0, sleep=lambda _: None)
    if "\n" in clean(said):
        raise Broken("an answer of several lines")


_ANSWERS = (
    b"HTTP/1.1 201 \r\nContent-Type: text/plain\r\nContent-Length: 8\r\n\r\nusbwatch",
    b"HTTP/1.1 503 Later\r\nRetry-After: 2\r\nContent-Length: 4\r\n\r\nbusy",
    b"HTTP/1.1 401 \r\nTransfer-Encoding: chunked\r\n\r\n3\r\nno!\r\n0\r\n\r\n",
    b"HTTP/1.1 100 \r\n\r\nHTTP/1.1 413 \r\n\r\ntoo large",
)


def _parts(data: bytes) -> list[Part]:
    """A root hub, and devices whose descriptors and places are the input's, each after two bytes of length and port."""
    found = [root_hub(bus=1)]
    at = 0
    while at + 3 < len(data) and len(found) < 9:
        length, port, parent = data[at], data[at + 1], found[data[at + 2] % len(found)]
        body = data[at + 3 : at + 3 + length]
        at += 3 + length
        made = part("1209:0001", port=port, bus=1, address=len(found) + 1, parent=parent, speed=port % 5)
        found.append(_described(made, body))
    return found


def _described(made: Part, body: bytes) -> Part:
    """A part with its own words for itself, as far as libusb would take them: lengths that it checks hold."""
    device = (body[:16].ljust(16, b"\x01"), made.device[2:])[not body]
    values = struct.unpack("<HBBBBHHHBBBB", device[:16])
    return replace(
        made,
        device=struct.pack("<BBHBBBBHHHBBBB", 18, 1, *values[:-1], 1),
        active=body[16] if len(body) > 16 else 1,
        broken=body[17:18] == b"\xff",
    )


def _listed(data: bytes) -> None:
    capture = take_portable(taken_at="", platform="darwin", backend=FakeLibusb(_parts(data)), battery=lambda: None)
    if parse(to_json(capture).encode(), "it") != capture:
        raise Broken("the file does not give back what was captured")
    clean(plain(capture_view(capture, "it"), 80))


TARGETS = (
    Target(name="http-request", run=_request, seeds=_requests, share=4, mutate=in_lines, largest=6000),
    Target(
        name="http-answer",
        run=_answer,
        seeds=lambda: _ANSWERS,
        share=2,
        refuses=(NotPosted,),
        mutate=in_lines,
        largest=6000,
    ),
    Target(
        name="libusb-list",
        run=_listed,
        seeds=lambda: [bytes([18, 1, 0]) + bytes.fromhex("0002000000400912010000010102030101ff")],
        share=2,
        largest=400,
    ),
)

"""A peer of QEMU's ``usb-redir`` device: it puts one invented device behind a port of the guest.

The protocol is that of the open usbredir project (usb-redirection-protocol.txt,
version 0.7). Faults are results of transfers, so the guest's kernel meets a
real port with a misbehaving device behind it.
"""

from __future__ import annotations

import socket
import struct
import threading
from contextlib import suppress
from enum import IntEnum

from virtual.usb_parts import Endpoint, Fault, Request, UsbPart, answer

__all__ = ["Peer"]


class _Packet(IntEnum):
    HELLO = 0
    DEVICE_CONNECT = 1
    DEVICE_DISCONNECT = 2
    INTERFACE_INFO = 4
    ENDPOINT_INFO = 5
    SET_CONFIGURATION = 6
    GET_CONFIGURATION = 7
    CONFIGURATION_STATUS = 8
    SET_ALTERNATE = 9
    GET_ALTERNATE = 10
    ALTERNATE_STATUS = 11
    START_ISO = 12
    STOP_ISO = 13
    ISO_STATUS = 14
    START_INTERRUPT = 15
    STOP_INTERRUPT = 16
    INTERRUPT_STATUS = 17
    CONTROL = 100
    BULK = 101
    INTERRUPT = 103


_SUCCESS, _IO_ERROR, _STALL = 0, 3, 4
_FAULTS = {Fault.BUS_ERROR: _IO_ERROR, Fault.STALL: _STALL}

# Bits of the capabilities that are spoken: device version, largest packet, 64-bit ids, 32-bit bulk lengths.
_CAPABILITIES = 1 << 1 | 1 << 4 | 1 << 5 | 1 << 6
_SLOTS = 32
_NO_ENDPOINT = 0xFF


class Peer:
    """One invented device at one port. ``socket`` is the emulator's end; close it once the emulator has it."""

    def __init__(self, part: UsbPart) -> None:
        self._part = part
        self._configuration = 0
        self._reports = 0
        self._ours, self.socket = socket.socketpair()
        self._sending = threading.Lock()
        self._thread = threading.Thread(target=self._serve, daemon=True, name=f"usb {part.product}")
        self._thread.start()

    def plug(self, part: UsbPart | None = None) -> None:
        """Attach the device to its port; from now on it is ``part`` where that is given."""
        self._part = part = part or self._part
        self._configuration = 0
        self._describe()
        names = (part.vendor_id, part.product_id, part.release)
        self._send(_Packet.DEVICE_CONNECT, struct.pack("<4B3H", part.speed, *part.code, *names))

    @property
    def part(self) -> UsbPart:
        """The device as it is now."""
        return self._part

    def unplug(self) -> None:
        """Detach it, as when its cable falls out."""
        self._send(_Packet.DEVICE_DISCONNECT)

    def press(self, *keys: int) -> None:
        """Press keys of a keyboard together and let them go (reports in the form of HID 1.11, appendix B.1)."""
        for held in (keys, ()):
            self._report(bytes([0, 0, *held]).ljust(8, b"\0"))

    def _report(self, data: bytes) -> None:
        self._reports += 1
        self._send(_Packet.INTERRUPT, struct.pack("<2BH", 0x81, _SUCCESS, len(data)) + data, self._reports)

    def close(self) -> None:
        """End the conversation."""
        self.socket.close()
        with suppress(OSError):  # the emulator may have ended it
            self._ours.shutdown(socket.SHUT_RDWR)
        self._thread.join(10)
        self._ours.close()

    def _serve(self) -> None:
        try:
            self._greet()
            self.plug()
            while True:
                kind, length, number = struct.unpack("<IIQ", self._receive(16))
                self._handle(kind, self._receive(length), number)
        except (EOFError, OSError):  # the emulator has gone
            return

    def _greet(self) -> None:
        name = b"bench peer".ljust(64, b"\0")
        hello = struct.pack("<III", _Packet.HELLO, len(name) + 4, 0)  # the one packet whose number has 32 bits
        self._ours.sendall(hello + name + struct.pack("<I", _CAPABILITIES))
        _, length, _ = struct.unpack("<III", self._receive(12))
        self._receive(length)

    def _receive(self, length: int) -> bytes:
        data = b""
        while len(data) < length:
            more = self._ours.recv(length - len(data))
            if not more:
                raise EOFError
            data += more
        return data

    def _send(self, kind: _Packet, body: bytes = b"", number: int = 0) -> None:
        with self._sending:
            self._ours.sendall(struct.pack("<IIQ", kind, len(body), number) + body)

    def _describe(self) -> None:
        """Tell which interfaces and endpoints there are."""
        shown = self._part.first_settings
        columns = [[one.number for one in shown], *([one.code[column] for one in shown] for column in range(3))]
        body = b"".join(bytes(column).ljust(_SLOTS, b"\0") for column in columns)
        self._send(_Packet.INTERFACE_INFO, struct.pack("<I", len(shown)) + body)
        self._send(_Packet.ENDPOINT_INFO, _endpoint_table(self._part))

    def _handle(self, kind: int, body: bytes, number: int) -> None:
        match kind:
            case _Packet.CONTROL:
                self._control(body, number)
            case _Packet.BULK:
                self._bulk(body, number)
            case _Packet.SET_CONFIGURATION:
                self._configure(body[0], number)
            case _Packet.GET_CONFIGURATION:
                self._send(_Packet.CONFIGURATION_STATUS, bytes([_SUCCESS, self._configuration]), number)
            case _Packet.SET_ALTERNATE:
                self._send(_Packet.ALTERNATE_STATUS, bytes([_SUCCESS, body[0], body[1]]), number)
            case _Packet.GET_ALTERNATE:
                self._send(_Packet.ALTERNATE_STATUS, bytes([_SUCCESS, body[0], 0]), number)
            case _Packet.START_INTERRUPT | _Packet.STOP_INTERRUPT:
                self._send(_Packet.INTERRUPT_STATUS, bytes([_SUCCESS, body[0]]), number)
            case _Packet.START_ISO | _Packet.STOP_ISO:
                self._send(_Packet.ISO_STATUS, bytes([_SUCCESS, body[0]]), number)
            case _:  # filters, cancelled packets: nothing to say
                pass

    def _control(self, body: bytes, number: int) -> None:
        endpoint, code, kind, _, value, index, length = struct.unpack("<4B3H", body[:10])
        said = answer(self._part, Request(kind=kind, code=code, value=value, index=index, length=length))
        status, data = (_FAULTS[said], b"") if isinstance(said, Fault) else (_SUCCESS, said)
        moved = len(data) if kind & 0x80 else length if status == _SUCCESS else 0
        head = struct.pack("<4B3H", endpoint, code, kind, status, value, index, moved)
        self._send(_Packet.CONTROL, head + data, number)

    def _configure(self, value: int, number: int) -> None:
        said = answer(self._part, Request(kind=0, code=9, value=value, index=0, length=0))
        if not isinstance(said, Fault):
            self._configuration = value
        self._describe()
        status = _FAULTS[said] if isinstance(said, Fault) else _SUCCESS
        self._send(_Packet.CONFIGURATION_STATUS, bytes([status, self._configuration]), number)

    def _bulk(self, body: bytes, number: int) -> None:
        """Swallow what is sent; have nothing to say."""
        endpoint, _, length, stream, length_high = struct.unpack("<2BHIH", body[:10])
        if not endpoint & 0x80:
            self._send(_Packet.BULK, struct.pack("<2BHIH", endpoint, _SUCCESS, length, stream, length_high), number)


def _endpoint_table(part: UsbPart) -> bytes:
    """Types, intervals, interfaces and sizes of all 32 endpoints: 16 outward, then 16 inward."""
    kinds, intervals, numbers = bytearray([_NO_ENDPOINT] * _SLOTS), bytearray(_SLOTS), bytearray(_SLOTS)
    sizes = [0] * _SLOTS
    for control in (0, 16):
        kinds[control], sizes[control] = 0, 64
    for one in part.first_settings:
        for end in one.endpoints:
            slot = _slot(end)
            kinds[slot], intervals[slot], numbers[slot] = end.kind & 3, end.interval, one.number
            sizes[slot] = end.size_at(part.speed)
    return bytes(kinds + intervals + numbers) + struct.pack(f"<{_SLOTS}H", *sizes)


def _slot(end: Endpoint) -> int:
    return (end.address & 0x80) >> 3 | end.address & 0x0F
